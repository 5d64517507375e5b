"""A shot as facts for JSON: numbers alone, and the error bounds that its estimates have."""
import pytest

import fieldsolve as fs
import geometries as geo
from fieldsolve.report.text.shot import shot_errors, shot_facts


@pytest.fixture(scope="module")
def shot():
    coil = geo.solenoid(turns=4, bore_radius=15.6e-3, wire_diameter=3e-3, pitch=3.3e-3, material=fs.material("copper"))
    disc = geo.disc(radius=15e-3, thickness=2e-3, material=fs.material("aluminium 1100-O"))
    bank = fs.Bank(capacitance=120e-6, voltage=4e3, inductance=350e-9)
    return fs.solve_shot(geo.CrossSection([coil, disc]), bank, end_time=20e-6, motion=False, accuracy=1e-2)


def test_the_errors_of_facts_are_those_of_the_estimates(shot):
    facts, errors = shot_facts(shot), shot_errors(shot)
    for key, peak in (("coil_peak_A", shot.peak("current", "coil")), ("disc_peak_A", shot.peak("current", "disc")),
                      ("field_peak_T", shot.peak("field", "bore")), ("temperature_max_K", shot.peak("temperature", "disc"))):
        assert facts[key] == peak.value and type(facts[key]) is float and errors[key] == peak.error > 0
    assert errors["coil_peak_time_s"] == shot.peak("current", "coil").time_error
    assert errors["energies_at_end_J"]["field"] == shot.energy.final_energies()["field"].error
    assert not {"seconds", "steps", "accuracy"} & set(errors)
