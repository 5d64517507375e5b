"""Loops and sheets with prescribed currents in a shot, against coils of thin wire in their places; what is infinite is left out."""
import json
import math
import re

import pytest

import fieldsolve as fs
import geometries as geo
from fieldsolve.errors import InputError
from fieldsolve.report.plots import shot as shot_plots
from fieldsolve.report.plots.shot import plot_body, plot_current, plot_probes
from fieldsolve.report.text.shot import shot_facts

COPPER = fs.material("copper")
DISC = geo.disc(radius=15e-3, thickness=2e-3, material=COPPER, name="can")
THIN_RING = geo.ring(radius=17e-3, wire_diameter=0.2e-3, name="coil", material=COPPER, stranded=True)
THIN_WINDING = geo.winding(inner_radius=16.99e-3, outer_radius=17.01e-3, height=20e-3, turns=10, name="coil", fill=1.0, material=COPPER)
PAIRS = {"loop": (geo.loop(radius=17e-3, name="coil"), THIN_RING),
         "sheet": (geo.sheet(radius=17e-3, length=20e-3, turns=10, name="coil"), THIN_WINDING)}


def sine(time):
    return 2e3 * math.sin(2e4 * time)


def fired(coil, **keywords):
    return fs.solve_shot(geo.CrossSection([coil, DISC]), fs.PrescribedCurrents({"coil": sine}), end_time=100e-6, accuracy=3e-2,
                         **{"motion": False, "heating": False, "error_bounds": False, **keywords})


@pytest.fixture(scope="module", params=PAIRS)
def pair(request):
    line, wire = PAIRS[request.param]
    return request.param, fired(line), fired(wire)


def test_a_line_current_drives_a_body_as_thin_wire_does(pair):
    _, line, wire = pair
    for quantity in ("current", "radial_force"):
        assert line.peak(quantity, "can") == pytest.approx(wire.peak(quantity, "can").value, rel=3e-3)
    assert line.peak("current", "coil") == pytest.approx(2e3, rel=2e-3)
    assert line.energy.residual < 1e-3


def test_what_is_infinite_is_left_out(pair):
    shape, line, wire = pair
    if shape == "sheet":
        assert line.peak("flux", "coil") == pytest.approx(wire.peak("flux", "coil").value, rel=3e-3)
    else:
        for quantity in ("flux", "voltage"):
            with pytest.raises(InputError, match=f"no series '{quantity}' of 'coil'"):
                line.series(quantity, "coil")
    with pytest.raises(InputError, match="no series 'radial_force' of 'coil'"):
        line.series("radial_force", "coil")


def test_it_is_shown_written_and_drawn(pair):
    shape, line, _ = pair
    facts = json.loads(json.dumps(shot_facts(line)))
    assert facts["can_peak_A"] == line.peak("current", "can").value and "disc_peak_A" not in facts
    assert facts["coils"]["coil"]["radial_impulse_Ns"] is None
    assert re.search(r"\n  coil +current 2", line.summary()) and "insulation" not in line.summary()
    assert {name for name, _ in shot_plots._drawings(line, None)} >= {"current", "disc", "field"}
    assert ("inductance" in dict(shot_plots._drawings(line, None))) is (shape == "sheet")
    for draw in (plot_current, plot_body, plot_probes):
        assert draw(line) is not None


@pytest.mark.parametrize("coil", [geo.loop(radius=17e-3, name="coil"), geo.sheet(radius=17e-3, length=20e-3, turns=10, name="coil")])
def test_beside_moving_metal_it_is_refused_with_the_remedy(coil):
    with pytest.raises(InputError, match=r"coil is a (loop|sheet), a line current, and can moves: hold the metal, motion=False"):
        fired(coil, motion=True)


def test_a_body_carries_no_given_current():
    with pytest.raises(InputError, match="can is a disc, not a coil"):
        fs.solve_shot(geo.CrossSection([DISC]), fs.PrescribedCurrents({"can": sine}), end_time=1e-5)
