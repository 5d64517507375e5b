"""What errors of push and flow stress do to the radius, against runs of a press whose push and strength are changed."""
import numpy as np
import pytest

import fieldsolve as fs
from fieldsolve.inference.parameters import with_flow_stress
from fieldsolve.inference.statistics.discrepancy import LEAST_STRAIN, LONGEST, NODES, all_sizes, motion_shapes
from tests.inference.lumped_press import RADIUS, TABLES, lumped_run

RISE = 20e-6


@pytest.fixture(scope="module")
def runs():
    """A run, and the derivatives of its radius by the logarithms of the push, of the strength, and of one that rises with the strain."""
    case, step = fs.read_case(TABLES).with_values({"bank.voltage": "5 kV"}), 0.002
    base = lumped_run(case)
    moved = (lumped_run(case, friction=-step), lumped_run(with_flow_stress(case, "disc", 1 + step)), lumped_run(case, hardening=step))
    return base, [(run.series["radius"] - base.series["radius"]) / step for run in moved]


def made_of(run, slope, push, law):
    """The error of the radius that shares of push (of t / RISE) and of strength (of the strain) make."""
    shapes = motion_shapes(run.times, run.series["radius"], run.series["current"], slope, RISE)
    count = shapes.shape[1] // 2
    nodes = np.linspace(0.0, LONGEST, NODES), np.linspace(np.log(LEAST_STRAIN), 0.0, NODES)
    found = np.zeros(len(run.times))
    for places, share, part in zip(nodes, (push, law), (shapes[:, :count], shapes[:, count:]), strict=True):
        variances, modes = np.linalg.eigh(np.exp(-0.5 * (places[:, None] - places[None, :]) ** 2))
        largest = np.argsort(variances)[::-1][:count]
        found += part @ (modes[:, largest].T @ share(places) / np.sqrt(variances[largest]))
    return found


def test_a_constant_push_and_a_constant_strength(runs):
    """The latter is the derivative that it is made of; the former leaves out that a smaller blank is pushed less: within a fifth."""
    run, (push, strength, _) = runs
    for wanted, shares, tolerance in ((push, (np.ones_like, np.zeros_like), 0.2), (strength, (np.zeros_like, np.ones_like), 0.03)):
        assert made_of(run, strength, *shares) == pytest.approx(wanted, abs=tolerance * np.abs(wanted).max())


def test_a_strength_that_rises_with_the_strain(runs):
    """Within a quarter: the mean of the share over time stands for that over the impulse of the resistance."""
    run, (_, strength, hardening) = runs
    found = made_of(run, strength, np.zeros_like, np.exp)
    assert found == pytest.approx(hardening, abs=0.25 * np.abs(hardening).max())
    assert np.abs(hardening).max() > 0.02 * RADIUS


def test_weights_of_the_sizes_add_up_to_one():
    for others in (False, True):
        assert sum(each.weight for each in all_sizes(RISE, others)) == pytest.approx(1.0)
