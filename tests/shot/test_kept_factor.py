"""Stages solved with the factor of an earlier one are those of a factor of their own."""
import numpy as np
import pytest

import fieldsolve as fs
import geometries as geo
from fieldsolve.shot.integrator import kept_factor

SERIES = (("current", "coil"), ("current", "disc"), ("power", "disc"), ("field", "bore"), ("temperature", "coil"), ("energy", "field"),
          ("radial_force", "disc"))


def shot(motion):
    coil = geo.solenoid(turns=2, bore_radius=15.6e-3, wire_diameter=3e-3, pitch=3.3e-3, material=fs.material("copper"))
    disc = geo.disc(radius=14e-3, thickness=2e-3, material=fs.material("aluminium 1100-O"))
    bank = fs.Bank(capacitance=60e-6, voltage=6e3, resistance=6e-3, inductance=350e-9, arc_voltage=80.0)
    return fs.solve_shot(geo.CrossSection([coil, disc]), bank, end_time=6e-6, motion=motion, accuracy=3e-2, step=0.5e-6, error_bounds=False)


@pytest.mark.parametrize(("motion", "most"), [(False, 0.5), pytest.param({"disc": fs.AxialMotion()}, 0.8, marks=pytest.mark.slow)])
def test_they_agree_and_cost_fewer_factors(monkeypatch, motion, most):
    kept = shot(motion)
    assert kept.work.factorizations < most * kept.work.stages
    monkeypatch.setattr(kept_factor, "MAX_CORRECTIONS", 0)
    own = shot(motion)
    assert own.work.factorizations >= own.work.stages and own.work.steps == kept.work.steps
    for quantity, place in SERIES:
        values = own.series(quantity, place)
        assert kept.series(quantity, place) == pytest.approx(values, rel=0, abs=2e-6 * np.abs(values).max()), (quantity, place)
