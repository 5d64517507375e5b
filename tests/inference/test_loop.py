"""The flux density at a loop's place, of a field: above the disc's centre and at the centre by its name."""
import numpy as np
import pytest
from scipy.integrate import trapezoid

import fieldsolve as fs
from fieldsolve.cases.solve import solve_case
from fieldsolve.inference.runs import FIELD_RATE, loop_series
from tests.inference.lumped_press import TABLES

END = 6e-6


@pytest.fixture(scope="module")
def shot():
    """A held disc in a coil."""
    return solve_case(fs.read_case({
        "coil": {**TABLES["coil"], "turns": 3, "wire_diameter": "4 mm", "pitch": "4.6 mm"}, "bank": TABLES["bank"],
        "disc": {**TABLES["disc"], "radius": "12 mm"},
        "run": {"end_time": "6 us", "motion": False, "heating": False, "accuracy": 0.1}}))


def test_the_centre_by_its_name_and_by_its_place(shot):
    times = np.linspace(0.0, END, 201)
    found = loop_series(shot, {"named": None, "placed": (0.0, 0.0)}, times)
    assert found["placed"] == pytest.approx(found["named"], abs=2e-3 * np.abs(found["named"]).max())
    rate = found[FIELD_RATE + "placed"]
    assert trapezoid(rate, times) == pytest.approx(found["placed"][-1] - found["placed"][0], rel=1e-3)
