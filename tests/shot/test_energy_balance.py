"""The energy balance of shots with several banks and crowbars: losses are summed by the steps' own weights, event or no event."""
import pytest

import fieldsolve as fs
import geometries as geo

COPPER = fs.material("copper")


def coil():
    return geo.CrossSection([geo.solenoid(turns=4, bore_radius=15.6e-3, wire_diameter=3.0e-3, pitch=3.3e-3, material=COPPER)])


def test_a_bank_at_lower_voltage_takes_current_from_the_first_instant_on():
    """Its arc opposes that current: with the sign of its own charge it would give energy that no bank has."""
    banks = [fs.Bank(capacitance=100e-6, voltage=5.8e3, resistance=30e-3, inductance=300e-9, arc_voltage=100.0),
             fs.Bank(capacitance=60e-6, voltage=2.0e3, resistance=30e-3, inductance=300e-9, arc_voltage=100.0)]
    shot = fs.solve_shot(coil(), banks, end_time=10e-6, motion=False, accuracy=1e-2, error_bounds=False)
    assert shot.events[0] == (0.0, "current of bank 2 reverses")
    assert shot.series("current", "bank 2")[1] < 0 < shot.series("current", "bank 1")[1]
    assert shot.energy.residual < 7e-4


@pytest.mark.parametrize("crowbar", [
    fs.Crowbar(resistance=7.3e-3, across="capacitor", fires_at=6e-6), fs.Crowbar(resistance=12e-3, inductance=50e-9, fires_at=6e-6),
], ids=["across the capacitor", "across the coil"])
def test_the_balance_closes_across_a_crowbar_that_fires(crowbar):
    bank = fs.Bank(capacitance=120e-6, voltage=5e3, resistance=20e-3, inductance=400e-9, arc_voltage=50.0)
    shot = fs.solve_shot(coil(), bank, end_time=20e-6, motion=False, accuracy=1e-2, error_bounds=False, crowbar=crowbar)
    assert any("crowbar fires" in event for _, event in shot.events)
    assert shot.energy.residual < 7e-4


@pytest.fixture(scope="module")
def shot_with_a_corner():
    plate = geo.plate(radius=30e-3, thickness=2e-3, at=6e-3, material=COPPER, name="plate")
    drive = fs.PrescribedCurrents({"coil": ([0.0, 20e-6, 40e-6], [0.0, 5e3, 0.0])})
    flat = geo.spiral(turns=4, inner_radius=6e-3, wire_diameter=2e-3, pitch=2.4e-3, material=COPPER)
    return fs.solve_shot(geo.CrossSection([flat, plate]), drive, end_time=40e-6, motion=False, accuracy=1e-2)


def test_the_balance_closes_across_the_corner_of_a_prescribed_current(shot_with_a_corner):
    """The voltage jumps there, and the energy that the drive has supplied must not."""
    assert shot_with_a_corner.energy.residual < 1e-3


def test_no_peak_is_read_off_a_curve_across_the_corner_of_a_prescribed_current(shot_with_a_corner):
    """A quartic through the instants around the corner is 1.4 % too high."""
    shot = shot_with_a_corner
    peaks = [shot.peak("current", "coil"), shot.peak("current", "plate"), shot.peak("field", "bore")]
    assert peaks[0].value == pytest.approx(5e3, rel=1e-6) and {peak.time for peak in peaks} == {20e-6}
    assert max(peak.error / abs(peak) for peak in peaks) < 5e-3 and not shot.shortfalls


def test_ohmic_heat_is_the_rise_of_enthalpy():
    shot = fs.solve_shot(coil(), fs.Bank(capacitance=120e-6, voltage=5e3, inductance=400e-9), end_time=15e-6, motion=False, accuracy=1e-2,
                         error_bounds=False)
    heat = shot.series("joule_heat", "coil")
    assert heat[0] == 0 and (heat[1:] > heat[:-1]).all()
    enthalpy = shot.heated_metal.heat_energy(shot.instants[-1].metal.enthalpy).sum()
    assert shot.energy.sinks["heat in coil"][-1] == heat[-1] == pytest.approx(enthalpy, rel=1e-12)
