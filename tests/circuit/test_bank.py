"""Banks, crowbars and leads: what they hold where nothing is said, and every number that cannot be is refused."""
import math
from dataclasses import asdict

import pytest

import fieldsolve as fs
from fieldsolve.circuit.bank import SERIES_SHAPES, check_charge, plate_inductance, wire_inductance
from fieldsolve.errors import InputError


def bank(**changes):
    return fs.Bank(**{"capacitance": 120e-6, "voltage": 4e3} | changes)


def test_what_is_not_given_is_ideal_or_unknown():
    assert asdict(bank()) == {"capacitance": 120e-6, "voltage": 4e3, "resistance": 0, "inductance": 0, "arc_voltage": 0, "fires_at": 0,
                              "rated_voltage": None, "rated_reversal": None, "rated_current": None}
    assert asdict(fs.Crowbar(resistance=1e-3)) == {"resistance": 1e-3, "inductance": 0, "across": "coil", "fires_at": None}
    assert asdict(fs.Leads()) == {"resistance": 0, "inductance": 0, "spacing": None, "length": None, "width": None,
                                  "wire_diameter": None, "loop_area": None}


def test_energy():
    assert bank().energy == pytest.approx(960.0)


POSITIVE = [
    *((bank, name) for name in ("capacitance", "voltage", "rated_voltage", "rated_reversal", "rated_current")),
    *((fs.Leads, name) for name in ("spacing", "length", "width", "wire_diameter", "loop_area")),
]
NOT_NEGATIVE = [
    *((bank, name) for name in ("resistance", "inductance", "arc_voltage", "fires_at")),
    *((lambda **given: fs.Crowbar(**{"resistance": 1e-3} | given), name) for name in ("resistance", "inductance", "fires_at")),
    *((fs.Leads, name) for name in ("resistance", "inductance")),
]


@pytest.mark.parametrize(("make", "name"), POSITIVE)
@pytest.mark.parametrize("value", [0.0, -1e-3, math.nan, math.inf, True, "5"])
def test_what_must_be_positive(make, name, value):
    with pytest.raises(InputError, match=f"{name} = {value!r} must be a positive number"):
        make(**{name: value})


@pytest.mark.parametrize(("make", "name"), NOT_NEGATIVE)
@pytest.mark.parametrize("value", [-1e-9, math.nan, math.inf, True, "5"])
def test_what_must_not_be_negative(make, name, value):
    assert getattr(make(**{name: 0.0}), name) == 0.0
    with pytest.raises(InputError, match=f"{name} = {value!r} must be a number, zero or more"):
        make(**{name: value})


@pytest.mark.parametrize(("make", "name", "value"), [
    (bank, "capacitance", 120.0), (bank, "voltage", 4e9), (bank, "resistance", 1e7), (bank, "inductance", 300.0), (bank, "fires_at", 20.0),
    (bank, "rated_voltage", 1e9), (bank, "rated_current", 1e12), (lambda **given: fs.Crowbar(1e-3, **given), "inductance", 20.0),
    (lambda **given: fs.Crowbar(1e-3, **given), "fires_at", 20.0), (fs.Leads, "resistance", 1e7), (fs.Leads, "inductance", 40.0),
    (lambda **given: bank(voltage=1e7, **given), "arc_voltage", 1e-5),
])
def test_what_no_rig_has_is_refused(make, name, value):
    with pytest.raises(InputError, match=f"{name} = {value:g} .*between which every rig lies".replace("+", r"\+")):
        make(**{name: value})


def test_a_reversal_is_a_share():
    assert bank(rated_reversal=1.0).rated_reversal == 1.0
    with pytest.raises(InputError, match=r"rated_reversal = 80 is a share of the charge voltage and at most 1: give 0\.8"):
        bank(rated_reversal=80.0)


@pytest.mark.parametrize("arc_voltage", [4e3, 4001.0])
def test_the_charge_exceeds_the_drop_of_the_arc(arc_voltage):
    assert bank(arc_voltage=3999.0).arc_voltage == 3999.0
    with pytest.raises(InputError, match=f"voltage = 4000 V does not exceed arc_voltage = {arc_voltage:g} V: no current would flow"):
        bank(arc_voltage=arc_voltage)


def test_a_charge_above_its_rating_can_be_described_but_not_fired():
    check_charge([bank(), bank(rated_voltage=4e3)])
    with pytest.raises(InputError, match="voltage = 4000 V is above rated_voltage = 3999 V: charge less"):
        check_charge([bank(), bank(rated_voltage=3999.0)])


def test_a_short_across_a_capacitor_needs_something_that_limits_its_current():
    assert fs.Crowbar(0.0, 1e-9, "capacitor").resistance == fs.Crowbar(1e-3, 0.0, "capacitor").inductance == 0
    assert fs.Crowbar(0.0).across == "coil"                                          # the coil limits it
    with pytest.raises(InputError, match="carries no finite current: give one of them"):
        fs.Crowbar(0.0, 0.0, "capacitor")
    with pytest.raises(InputError, match="across = 'gap': choose 'coil' or 'capacitor'"):
        fs.Crowbar(1e-3, across="gap")


PLATES = {"length": 0.5, "width": 0.1, "gap": 2e-3, "thickness": 3e-3, "conductivity": 5.8e7}
WIRES = {"length": 0.5, "spacing": 20e-3, "wire_diameter": 5e-3, "conductivity": 5.8e7}


def test_plates():
    """Field I / w between wide plates: mu_0 l g / w.  Half a metre there and back of 0.1 x 0.003 m^2."""
    leads = fs.plate_leads(**PLATES)
    assert leads.inductance == pytest.approx(4e-7 * math.pi * 0.5 * 2e-3 / 0.1, rel=1e-9) == plate_inductance(0.5, 0.1, 2e-3)
    assert leads.resistance == pytest.approx(1.0 / (5.8e7 * 3e-4))


def test_wires():
    """0.4 uH/m (ln(2 D / d) + 1/4), the textbook's line of two wires with uniform currents; 1 m of 5 mm wire."""
    leads = fs.wire_leads(**WIRES)
    assert leads.inductance == pytest.approx(0.5 * 0.4e-6 * (math.log(8) + 0.25), rel=1e-9) == wire_inductance(0.5, 20e-3, 5e-3)
    assert leads.resistance == pytest.approx(1.0 / (5.8e7 * math.pi * 2.5e-3**2))
    touching = WIRES | {"spacing": 5e-3}
    with pytest.raises(InputError, match=r"spacing = 0\.005 m must exceed wire_diameter = 0\.005 m"):
        fs.wire_leads(**touching)


@pytest.mark.parametrize(("make", "given"), [(fs.plate_leads, PLATES), (fs.wire_leads, WIRES)])
def test_dimensions_are_positive(make, given):
    for name in given:
        with pytest.raises(InputError, match=f"leads: {name} = 0 must be a positive number"):
            make(**given | {name: 0})


def test_a_bank_drives_coils_of_wire():
    assert set(SERIES_SHAPES) == {"solenoid", "spiral", "winding"}
