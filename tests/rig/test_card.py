"""The card: every check within, outside and not assessed; what is missing or not a number never passes."""
import dataclasses
import datetime
import json
import math
import re
from dataclasses import replace

import pytest

import fieldsolve as fs
import geometries as geo
from fieldsolve.errors import InputError
from fieldsolve.motion.hoops.hoops import Burst
from fieldsolve.report.text.rig import WIDTH, card_facts, card_summary
from fieldsolve.rig.card import CAUTIONS, LIMIT_UNITS, QUANTITIES, RULES
from fieldsolve.rig.card_inputs import CardInputs
from fieldsolve.rig.checks.rule import AT_LEAST, AT_MOST, MUST_BE, NOT_ASSESSED, OUTSIDE, WITHIN, apply_rule
from fieldsolve.rig.coil import turn_masses
from fieldsolve.rig.formulas.fragments import Fragment, lump_diameter
from fieldsolve.rig.from_shot import BankQuantities, MovingShotQuantities, ShotQuantities
from fieldsolve.rig.quantities.rule import evaluate_quantity
from fieldsolve.rig.source import MARKS
from fieldsolve.rig.tables import Bleeder, Box, Charger, Gap, Instruments, Insulation, MissingInput, Site

TODAY = datetime.date(2026, 3, 31)
COPPER = fs.material("copper")
COIL = geo.solenoid(turns=4, layers=2, bore_radius=15.6e-3, wire_diameter=3e-3, pitch=3.3e-3, layer_pitch=3.3e-3, material=COPPER)
DISC = geo.disc(radius=15e-3, thickness=2e-3, material=COPPER)
BURST = Burst(26.6e-6, "coil, turn 5", 110.0, 101.0, 0.0543)
SHOT = ShotQuantities(banks=(BankQuantities(50e3, 0.75, True),), frequency=12.6e3, turn_voltage=600.0, action_share={"disc": 0.7},
                      energy_left=0.03, residual=2e-3, coil_current=50e3, current_rate=5e9, action=1e5, outward_force=200e3, field_rate=3e6,
                      residual_voltage=10.0, end_time=200e-6)
RATINGS = {"rated_voltage": 8e3, "rated_reversal": 0.9, "rated_current": 100e3}
RIG = fs.Rig(
    section=geo.CrossSection([COIL, DISC]), banks=(fs.Bank(120e-6, 6e3, inductance=300e-9, **RATINGS),),
    leads=fs.Leads(inductance=40e-9, spacing=8e-3, length=0.6, width=60e-3), former=fs.Former(mass=0.08, strength=25e3),
    site=Site(altitude=400.0, temperature=293.15, humidity=0.45, persons_distance=6.0, persons_behind_box=True,
              hearing_protection="plug and muff", implants_excluded=True),
    gap=Gap(distance=2.6e-3), box=Box(wall=20e-3, material="mild steel"),
    bleeder=Bleeder(parts=6, part_resistance=47e3, part_rated_voltage=2e3, part_rated_power=50.0, strings=2, tested=TODAY,
                    dump_resistance=2e3, dump_mass=0.4),
    insulation=Insulation(film_breakdown=5e3, layer_breakdown=20e3, coil_to_disc_breakdown=20e3), charger=Charger(current=26e-3),
    instruments=Instruments(1000.0, 2e-5, 100e-6, 1e-9, 1.0, 1e-4, 1000.0), today=TODAY,
)
COMPLETE = CardInputs(RIG, SHOT, coil_inductance=1.53e-6)
INPUTS = ("shot", "moving_shot", "coil_inductance")


def rig(**tables):
    """Rig and shot with entries of their tables changed: shot={...}, site={...}, ..., or whole attributes."""
    def changed(owner, name, entries):
        return replace(getattr(owner, name), **entries) if isinstance(entries, dict) and name != "limits" else entries
    of_rig = {name: changed(RIG, name, entries) for name, entries in tables.items() if name not in INPUTS}
    others = {name: changed(COMPLETE, name, entries) for name, entries in tables.items() if name in INPUTS}
    return replace(COMPLETE, rig=replace(RIG, **of_rig), **others)


def bank(**values):
    return (fs.Bank(**{"capacitance": 120e-6, "voltage": 6e3, "inductance": 300e-9, **RATINGS} | values),)


def card_of(inputs):
    return fs.rig_card(inputs.rig, inputs.shot, inputs.moving_shot, inputs.coil_inductance)


def bare_card():
    """The card of a coil alone, of which nothing is known and nothing computed."""
    return fs.rig_card(fs.Rig(section=geo.CrossSection([COIL])))


def check_named(name, inputs):
    return next(check for check in card_of(inputs).checks if check.name == name)


NO_SHOT = rig(shot=None)
OUTSIDE_AND_MISSING = {                  # by name of the check: a rig outside it, a rig it cannot be assessed for, what that needs
    "charge_share": (rig(banks=bank(voltage=7.5e3)), rig(banks=bank(rated_voltage=None)), "[capacitor] rated_voltage"),
    "reversal_share": (rig(shot={"banks": (BankQuantities(50e3, 0.95, True),)}), NO_SHOT, "[run] end_time"),
    "current_share": (rig(shot={"banks": (BankQuantities(101e3, 0.5, True),)}), rig(shot={"banks": (BankQuantities(5e4, 0.5, False),)}),
                      "[run] end_time beyond the first current zero"),
    "gap_lowest": (rig(gap={"distance": 6e-3}), rig(site={"altitude": None}), "[site] pressure, or altitude"),
    "gap_highest": (rig(gap={"distance": 1.7e-3}), rig(gap=Gap()), "[gap] distance or self_break"),
    "bleeder_time": (rig(bleeder={"part_resistance": 100e3}), rig(bleeder=Bleeder()), "[bleeder] parts and part_resistance"),
    "bleeder_voltage_margin": (rig(bleeder={"part_rated_voltage": 1.4e3}), rig(bleeder={"part_rated_voltage": None}), "part_rated_voltage"),
    "bleeder_power_margin": (rig(bleeder={"part_rated_power": 25.0}), rig(bleeder={"part_rated_power": None}), "part_rated_power"),
    "bleeder_test_age": (rig(bleeder={"tested": datetime.date(2026, 3, 30)}), rig(bleeder={"tested": None}), "[bleeder] tested"),
    "ways_to_discharge": (rig(bleeder={"strings": 1, "dump_resistance": None}), rig(bleeder={"strings": None}), "[bleeder] strings"),
    "wall_margin": (rig(box={"wall": 6e-3}), rig(box=Box()), "[box] wall and material"),
    "wall_margin_fast": (rig(box={"wall": 8e-3}), rig(box={"material": None}), "[box] material"),
    "persons_distance": (rig(site={"persons_distance": 2.9}), rig(site={"persons_distance": None}), "[site] persons_distance"),
    "persons_behind_box": (rig(site={"persons_behind_box": False}), rig(box={"wall": None}), "[box] wall"),
    "hearing_protection": (rig(site={"hearing_protection": "muff"}), rig(site={"hearing_protection": None}), "[site] hearing_protection"),
    "implants_excluded": (rig(site={"implants_excluded": False}), rig(site={"implants_excluded": None}), "[site] implants_excluded"),
    "stray_field": (rig(leads={"loop_area": 4.0}), rig(leads=fs.Leads()), "[leads] loop_area, or length and spacing"),
    "sound_level": (rig(site={"persons_distance": 1.5, "hearing_protection": "none"}), rig(box=Box()), "[box] wall"),
    "inductance_ratio": (rig(coil_inductance=1.3e-6), rig(coil_inductance=None), "the inductance of the empty coil"),
    "film_margin_stop": (rig(insulation={"film_breakdown": 1.1e3}), rig(insulation={"film_breakdown": None}),
                         "[insulation] film_breakdown"),
    "film_margin": (rig(shot={"turn_voltage": 1.7e3}), rig(insulation={"film_breakdown": None}), "[insulation] film_breakdown"),
    "layer_margin_stop": (rig(insulation={"layer_breakdown": 8e3}), rig(insulation={"layer_breakdown": None}),
                          "[insulation] layer_breakdown"),
    "layer_margin": (rig(insulation={"layer_breakdown": 17e3}), rig(insulation={"layer_breakdown": None}), "[insulation] layer_breakdown"),
    "disc_margin_stop": (rig(insulation={"coil_to_disc_breakdown": 8e3}), rig(section=geo.CrossSection([COIL])), "a disc"),
    "disc_margin": (rig(insulation={"coil_to_disc_breakdown": 11e3}), rig(insulation={"coil_to_disc_breakdown": None}),
                    "[insulation] coil_to_disc_breakdown"),
    "rim_action": (rig(shot={"action_share": {"disc": 0.95}}), rig(shot={"energy_left": 0.3}), "30 % of the energy is still to come"),
    "energy_residual_stop": (rig(shot={"residual": 0.06}), NO_SHOT, "a computed shot"),
    "energy_residual": (rig(shot={"residual": 0.03}), rig(shot={"interrupted": True}), "this one was interrupted"),
}


DEFAULTS = {                             # the workshop's list of limits, written out: common practice, no source
    "charge_share": (AT_MOST, 0.9, True), "reversal_share": (AT_MOST, 1.0, True), "current_share": (AT_MOST, 1.0, True),
    "gap_lowest": (AT_LEAST, 0.5, True), "gap_highest": (AT_MOST, 0.85, True), "bleeder_time": (AT_MOST, 300.0, True),
    "bleeder_voltage_margin": (AT_LEAST, 1.5, True), "bleeder_power_margin": (AT_LEAST, 1.5, True),
    "bleeder_test_age": (AT_MOST, 0.0, True),
    "ways_to_discharge": (AT_LEAST, 2.0, False), "wall_margin": (AT_LEAST, 2.0, True), "wall_margin_fast": (AT_LEAST, 1.0, True),
    "persons_distance": (AT_LEAST, 3.0, True), "persons_behind_box": (MUST_BE, True, True), "hearing_protection": (MUST_BE, True, True),
    "implants_excluded": (MUST_BE, True, True), "stray_field": (AT_MOST, 1.0, False), "sound_level": (AT_MOST, 140.0, False),
    "inductance_ratio": (AT_LEAST, 4.0, False), "film_margin_stop": (AT_LEAST, 1.5, True), "film_margin": (AT_LEAST, 3.0, False),
    "layer_margin_stop": (AT_LEAST, 1.5, True), "layer_margin": (AT_LEAST, 3.0, False), "disc_margin_stop": (AT_LEAST, 1.5, True),
    "disc_margin": (AT_LEAST, 2.0, False), "rim_action": (AT_MOST, 0.9, False), "energy_residual_stop": (AT_MOST, 0.05, True),
    "energy_residual": (AT_MOST, 0.02, False),
}


def test_the_defaults_are_the_workshop_s_list():
    assert {rule.name: (rule.sense, rule.limit, rule.hard) for rule in RULES} == DEFAULTS


def test_every_check_is_tried():
    assert list(OUTSIDE_AND_MISSING) == [rule.name for rule in RULES]


@pytest.mark.parametrize("name", OUTSIDE_AND_MISSING)
def test_within_outside_and_not_assessed(name):
    outside, missing, needs = OUTSIDE_AND_MISSING[name]
    inside, out, unknown = check_named(name, COMPLETE), check_named(name, outside), check_named(name, missing)
    assert (inside.verdict, out.verdict, unknown.verdict) == (WITHIN, OUTSIDE, NOT_ASSESSED)
    assert unknown.value is unknown.margin is None
    assert unknown.reason.startswith("needs ")
    assert needs in unknown.reason
    assert inside.margin is None or inside.margin >= 0
    assert out.margin is None or out.margin < 0
    assert inside.reason
    assert {inside.mark, inside.limit_mark} <= set(MARKS)


@pytest.mark.parametrize("name", LIMIT_UNITS)
def test_a_value_at_its_limit_is_within_and_just_beyond_is_not(name):
    rule = next(rule for rule in RULES if rule.name == name)
    step = 1e-9 if rule.sense == AT_MOST else -1e-9
    for value, verdict in ((rule.limit, WITHIN), (rule.limit + step, OUTSIDE)):
        assert apply_rule(replace(rule, evaluate=lambda _, value=value: (value, "a test")), COMPLETE).verdict == verdict


@pytest.mark.parametrize("name", LIMIT_UNITS)
@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf])
def test_what_is_no_number_never_passes(name, value):
    rule = next(rule for rule in RULES if rule.name == name)
    check = apply_rule(replace(rule, evaluate=lambda _: (value, "a test")), COMPLETE)
    assert (check.verdict, check.value, check.margin) == (NOT_ASSESSED, None, None)


NAN = math.nan


@pytest.mark.parametrize(("name", "subject"), [
    ("reversal_share", rig(shot={"banks": (BankQuantities(50e3, NAN, True),)})),
    ("current_share", rig(shot={"banks": (BankQuantities(NAN, 0.5, True),)})),
    ("stray_field", rig(shot={"coil_current": NAN})), ("stray_field", rig(shot={"frequency": NAN})),
    ("inductance_ratio", rig(coil_inductance=NAN)), ("film_margin", rig(shot={"turn_voltage": NAN})),
    ("film_margin_stop", rig(shot={"turn_voltage": NAN})), ("rim_action", rig(shot={"action_share": {"disc": 0.5, "ring": NAN}})),
    ("rim_action", rig(shot={"action_share": {"disc": NAN, "ring": 0.5}})), ("rim_action", rig(shot={"energy_left": NAN})),
    ("energy_residual", rig(shot={"residual": NAN})), ("energy_residual_stop", rig(shot={"residual": NAN})),
])
def test_a_quantity_of_the_shot_that_is_no_number_is_not_assessed(name, subject):
    assert check_named(name, subject).verdict == NOT_ASSESSED
    assert not card_of(subject).verdict.startswith("within")


# ---- verdict -------------------------------------------------------------------------------------------------------------

def test_the_best_verdict_is_within_the_limits_given_here():
    card = card_of(COMPLETE)
    assert card.verdict == "within the limits stated here"
    assert not card.stopped
    assert not card.incomplete
    assert card.cautions == CAUTIONS
    screen = card_summary("rig", card)
    for page in (screen, json.dumps(card_facts(card))):
        assert "safe" not in page.lower()
        assert "prevail" in page


@pytest.mark.parametrize("table", ["bleeder", "box", "gap", "site", "insulation"])
def test_without_a_table_nothing_is_within(table):
    card = card_of(rig(**{table: type(getattr(RIG, table))()}))
    assert card.incomplete
    assert card.verdict.startswith("NOT ASSESSED in full")


def test_a_bare_rig_is_not_assessed_at_all():
    card = bare_card()
    assert {check.verdict for check in card.checks} == {NOT_ASSESSED}
    assert not card.stopped
    json.dumps(card_facts(card), allow_nan=False)
    assert max(map(len, card_summary("rig", card).splitlines())) <= WIDTH


def test_a_hard_stop_counts_before_what_is_missing_and_a_warning_stops_nothing():
    card = card_of(rig(site={"persons_distance": 1.0, "humidity": None, "implants_excluded": None}, shot={"residual": 0.03}))
    assert (card.stopped, card.incomplete) == (True, True)
    assert card.verdict == "OUTSIDE: 1 hard stop outside the limits stated here; 1 check not assessed; 1 warning outside"
    warned = card_of(rig(shot={"residual": 0.03}))
    assert (warned.stopped, warned.incomplete) == (False, False)
    assert warned.verdict == "within the limits stated here; 1 warning outside"


def test_a_bank_that_stays_charged_is_reported_first():
    card = card_of(rig(shot={"residual_voltage": 798.0}))
    assert "LIVE, at up to 798 V" in card.cautions[0]
    assert len(card.cautions) == len(CAUTIONS) + 1
    moving = MovingShotQuantities(60.0, None, None, 60e-6, residual_voltage=1752.0)
    assert "LIVE, at up to 1752 V" in card_of(rig(shot={"residual_voltage": 20.0}, moving_shot=moving)).cautions[0]


# ---- limits of one's own -------------------------------------------------------------------------------------------------

def test_a_changed_limit_is_applied_and_shown():
    card = card_of(rig(limits={"persons_distance": 7.0, "charge_share": 0.8}))
    check = next(check for check in card.checks if check.name == "persons_distance")
    assert (check.verdict, check.limit, check.default, check.limit_mark) == (OUTSIDE, 7.0, 3.0, "given")
    assert card.verdict.endswith("2 limits not the default")
    screen = card_summary("rig", card)
    assert screen.count("CHANGED LIMIT: the default is") == 2
    assert "CHANGED LIMIT: the default is at least 3 m" in screen
    same = card_of(rig(limits={"persons_distance": 3.0}))
    assert all(check.default is None for check in same.checks)


@pytest.mark.parametrize(("limits", "words"), [
    ({"charge_shar": 0.9}, r"\[limits\] charge_shar = 0.9: unknown limit; did you mean 'charge_share'"),
    ({"charge_share": 0.0}, "must be a finite number above 0"), ({"charge_share": NAN}, "must be a finite number above 0"),
    ({"charge_share": True}, "must be a finite number"), ({"bleeder_test_age": -1.0}, "of 0 or more"),
    ({"implants_excluded": False}, "must be so, there is no number to change"),
])
def test_a_limit_that_cannot_be_is_refused(limits, words):
    with pytest.raises(InputError, match=words):
        card_of(rig(limits=limits))


def test_a_test_of_last_week_can_be_allowed():
    late = rig(bleeder={"tested": datetime.date(2026, 3, 24)}, limits={"bleeder_test_age": 7.0})
    assert check_named("bleeder_test_age", late).verdict == WITHIN
    ahead = check_named("bleeder_test_age", rig(bleeder={"tested": datetime.date(2026, 4, 1)}))
    assert ahead.verdict == NOT_ASSESSED
    assert "2026-04-01 is after today" in ahead.reason


# ---- what checks look at -------------------------------------------------------------------------------------------------

def test_two_banks_are_assessed_by_the_worse():
    second = fs.Bank(60e-6, 7.5e3, inductance=1e-6, **RATINGS)
    both = rig(banks=(*bank(), second), shot={"banks": (BankQuantities(50e3, 0.7, True), BankQuantities(20e3, 0.95, True))},
               gap={"second_distance": 2.6e-3})
    assert check_named("charge_share", both).value == pytest.approx(7.5 / 8)
    assert check_named("charge_share", both).reason.startswith("bank 2")
    assert check_named("reversal_share", both).verdict == OUTSIDE
    assert check_named("gap_lowest", both).reason.startswith("bank 1")
    assert check_named("gap_highest", both).value / check_named("gap_lowest", both).value == pytest.approx(7.5 / 6)
    assert "second_distance" in check_named("gap_highest", replace(both, rig=replace(both.rig, gap=Gap(distance=2.6e-3)))).reason
    apart = replace(both, rig=replace(both.rig, banks=(*bank(), replace(second, rated_voltage=20e3))))
    assert check_named("charge_share", apart).reason.startswith("bank 1")
    for order in (1, -1):
        unknown = tuple((BankQuantities(50e3, 0.7, True), BankQuantities(20e3, NAN, True))[::order])
        assert check_named("reversal_share", rig(banks=(*bank(), second), shot={"banks": unknown})).verdict == NOT_ASSESSED
    three = CardInputs(replace(both.rig, banks=(*both.rig.banks, second)),
                       replace(both.shot, banks=3 * (BankQuantities(50e3, 0.7, True),)))
    assert "entries for 2 of 3" in check_named("gap_highest", three).reason
    with pytest.raises(InputError, match="it has 1 banks, the rig 2"):
        rig(banks=both.rig.banks)


def test_a_measured_self_break_is_corrected_for_the_air():
    measured = rig(gap=Gap(self_break=9e3), site={"altitude": None, "pressure": 0.8 * 101325.0, "humidity": None})
    assert check_named("gap_highest", measured).value == pytest.approx(6e3 / (0.82 * 9e3))
    thin = rig(gap=Gap(self_break=9e3), site={"altitude": 4000.0})
    assert check_named("gap_highest", thin).verdict == NOT_ASSESSED
    assert "outside the table" in check_named("gap_highest", thin).reason


def test_humid_air_holds_more():
    for gap_table in (Gap(distance=2.6e-3), Gap(self_break=9e3)):
        dry, damp = (
            check_named("gap_highest", rig(gap=gap_table, site={"humidity": share, "temperature": 303.15})).value for share in (None, 0.9)
        )
        assert 1.02 <= dry / damp <= 1.03


def test_a_single_layer_has_no_check_of_layers():
    coil = geo.solenoid(turns=8, bore_radius=15.6e-3, wire_diameter=3e-3, pitch=3.3e-3, material=COPPER)
    card = card_of(rig(section=geo.CrossSection([coil, DISC])))
    assert not [check for check in card.checks if check.name.startswith("layer_margin")]
    assert card.verdict == "within the limits stated here"
    winding = geo.winding(inner_radius=16e-3, outer_radius=20e-3, height=10e-3, turns=20, fill=0.7, material=COPPER)
    assert "[insulation] layers" in check_named("layer_margin", rig(section=geo.CrossSection([winding, DISC]))).reason
    assert check_named("layer_margin", rig(section=geo.CrossSection([winding, DISC]), insulation={"layers": 2})).value == pytest.approx(
        20 / 6
    )


def test_a_fragment_slower_than_the_bound_is_shown_beside_it_and_eases_nothing():
    bound, gap_table = check_named("wall_margin", COMPLETE), check_named("wall_margin", COMPLETE).reason
    speed = float(re.search(r"at (\d+) m/s \(all the bank's energy in the coil\)", gap_table).group(1))
    turn = max(turn_masses(COIL))
    filmed = Fragment(turn, 98.0, lump_diameter(turn, COPPER.density), "film of last week")
    for slow in (rig(moving_shot=MovingShotQuantities(98.0, BURST, None, 60e-6)), rig(fragment=filmed)):
        check = check_named("wall_margin", slow)
        assert check.value == pytest.approx(bound.value, rel=1e-9)
        assert f"at {speed:.0f} m/s (all the bank's energy in the coil; " in check.reason and "98 m/s)" in check.reason
        assert check_named("wall_margin_fast", slow).value == pytest.approx(check_named("wall_margin_fast", COMPLETE).value, rel=1e-9)


def test_a_turn_faster_than_the_bound_asks_for_more():
    """A few turns may take more than their share of the energy."""
    fast = check_named("wall_margin", rig(moving_shot=MovingShotQuantities(900.0, BURST, None, 60e-6)))
    assert fast.value < check_named("wall_margin", COMPLETE).value
    assert "at 900 m/s (fastest turn of the computed shot with moving metal; all the bank's energy in the coil" in fast.reason


def test_the_burst_is_on_the_card():
    def card_with(moving_shot):
        card = card_of(rig(moving_shot=moving_shot))
        return card, {quantity.name: quantity for quantity in card.quantities}
    card, found = card_with(MovingShotQuantities(101.0, BURST, 36.1e-6, 60e-6))
    assert "coil, turn 5 may break from 26.6 us on" in card.cautions[0] and "treat the bank as charged" in card.cautions[0]
    assert [found[name].value for name in ("fastest_turn", "burst_time", "burst_latest", "burst_energy", "burst_mass")] == [
        101.0, 26.6e-6, 36.1e-6, 110.0, 0.0543]
    assert found["fastest_turn_wall"].value < found["needed_wall"].value
    card, found = card_with(MovingShotQuantities(101.0, BURST, None, 40e-6, "disc comes within 40 um of another part"))
    assert "longer than 40 us" in found["burst_latest"].needs
    assert "ends early, at 40 us: disc comes within 40 um" in card.cautions[1]
    card, found = card_with(MovingShotQuantities(60.0, None, None, 60e-6))
    assert "none does in the 60 us computed" in found["burst_time"].needs and "break" not in card.cautions[0]
    assert "[run] motion = true" in card_with(None)[1]["fastest_turn"].needs


def test_the_fragment_may_come_from_the_case():
    bound = check_named("wall_margin", COMPLETE)
    heavy = check_named("wall_margin", rig(box={"fragment_mass": 20e-3, "fragment_diameter": 9e-3}))
    assert heavy.value < bound.value
    assert "20 g with a face of 9 mm" in heavy.reason
    unknown_metal = geo.solenoid(turns=4, bore_radius=15.6e-3, wire_diameter=3e-3, pitch=3.3e-3, material=fs.Material(conductivity=5e7))
    assert "density" in check_named("wall_margin", rig(section=geo.CrossSection([unknown_metal, DISC]))).reason


def test_metal_that_cannot_melt_is_not_assessed():
    assert "melting point" in check_named("rim_action", rig(shot={"action_share": {"disc": None}})).reason
    assert "no body conducts" in check_named("rim_action", rig(shot={"action_share": {}})).reason


def test_without_a_ring_there_is_no_frequency_to_judge_by():
    assert "frequency" in check_named("stray_field", rig(shot={"frequency": None})).reason
    assert "ICNIRP" in check_named("stray_field", rig(shot={"frequency": 50e6})).reason


def test_no_inductance_outside_the_coil_is_a_missing_input():
    for leads in (fs.Leads(), fs.Leads(inductance=40e-9)):
        assert "[bank] inductance" in check_named("inductance_ratio", rig(banks=bank(inductance=0.0), leads=leads)).reason


def test_a_bank_of_low_voltage_gets_the_rule_of_one_minute():
    low = rig(banks=bank(voltage=900.0))
    assert "NEC 460.6 asks 60 s" in check_named("bleeder_time", low).reason
    assert "NEC 460.6" not in check_named("bleeder_time", COMPLETE).reason


# ---- quantities, facts, screen ----------------------------------------------------------------------------------------------

def test_every_quantity_is_taken_and_missing_ones_say_what_they_need():
    complete_rig = rig(moving_shot=MovingShotQuantities(101.0, BURST, 36.1e-6, 60e-6))
    assert [quantity.name for quantity in card_of(complete_rig).quantities if quantity.value is None] == []
    bare = bare_card().quantities
    assert all(quantity.value is None and quantity.needs for quantity in bare if quantity.name != "air_density")
    assert [quantity.name for quantity in bare] == [rule.name for rule in QUANTITIES]
    broken = card_of(rig(shot={"coil_current": NAN})).quantities
    assert next(quantity for quantity in broken if quantity.name == "coil_current").value is None


def test_quantities_follow_their_formulas():
    found = {quantity.name: quantity.value for quantity in card_of(COMPLETE).quantities}
    assert found["energy"] == pytest.approx(2160)
    assert found["charging_time"] == pytest.approx(120e-6 * 6e3 / 26e-3)
    assert found["misfire_wait"] == pytest.approx(5 * 282e3 * 120e-6)
    assert found["hoop_share"] == pytest.approx(200e3 / (2 * math.pi) / 25e3)
    assert found["needed_wall"] == pytest.approx(
        20e-3 / min(check_named("wall_margin", COMPLETE).value / 2, check_named("wall_margin_fast", COMPLETE).value)
    )
    other = rig(charger=Charger(resistance=10e3), leads={"width": None})
    through = {quantity.name: quantity.value for quantity in card_of(other).quantities}
    assert through["charging_time"] == pytest.approx(1.2 * math.log(100))
    assert through["lead_force"] == pytest.approx(2e-7 * 50e3**2 / 8e-3)
    assert through["lead_inductance"] is None
    assert found["lead_inductance"] == pytest.approx(4e-7 * math.pi * 0.6 * 8e-3 / 60e-3)
    wires = fs.wire_leads(length=0.6, spacing=8e-3, wire_diameter=4e-3, conductivity=58e6)
    layouts = [rig(leads={"width": None, "wire_diameter": diameter}) for diameter in (4e-3, 9e-3)]
    inductances = [next(quantity for quantity in card_of(each).quantities if quantity.name == "lead_inductance") for each in layouts]
    assert inductances[0].value == wires.inductance
    assert "above wire_diameter" in inductances[1].needs
    assert found["largest_bleeder"] == pytest.approx(300 / (120e-6 * math.log(6e3 / 50)))


def test_facts_are_json_without_nan_in_any_state():
    cards = [card_of(inputs) for inputs in (COMPLETE, NO_SHOT, rig(shot={"coil_current": NAN, "residual": NAN}))]
    for card in (*cards, bare_card()):
        facts = json.loads(json.dumps(card_facts(card), allow_nan=False))
        assert all(check["verdict"] in (WITHIN, OUTSIDE, NOT_ASSESSED) for check in facts["checks"])
        assert set(facts["checks"][0]) >= {"name", "quantity", "limit", "value", "unit", "verdict", "margin", "reason", "hard", "source",
                                           "mark"}


def test_the_screen_has_its_groups_in_order_within_its_width():
    card = card_of(rig(site={"persons_distance": 1.0, "implants_excluded": None}, shot={"residual": 0.03, "residual_voltage": 900.0}))
    screen = card_summary("rig.toml", card)
    groups = ["CAUTIONS", "HARD STOPS: 1 of", "WARNINGS: 1 of", "NOT ASSESSED: 1", "QUANTITIES", "SOURCES"]
    places = [screen.index(f"\n{group}") for group in groups]
    assert places == sorted(places)
    lines = screen.splitlines()
    assert max(map(len, lines)) <= WIDTH
    assert screen.isascii()
    first = next(k for k, line in enumerate(lines) if line.startswith("HARD STOPS")) + 1
    assert lines[first].startswith("  OUTSIDE  distance of persons")
    assert "not assessed: needs [site] implants_excluded" in screen
    for check in card.checks:
        assert check.quantity in screen
    assert "from memory" in screen
    assert "common practice" in screen


def test_a_rig_is_frozen():
    with pytest.raises(dataclasses.FrozenInstanceError):
        RIG.limits = {}
    assert issubclass(MissingInput, Exception)


# ---- of which run ----------------------------------------------------------------------------------------------------------

MOVING = MovingShotQuantities(101.0, BURST, 36.1e-6, 60e-6)
SHOT_NUMBERS = ("frequency", "turn_voltage", "residual", "coil_current", "current_rate", "action", "outward_force", "field_rate")


def scaled(quantities):
    """Quantities of a shot, its numbers a tenth larger."""
    changes = {name: 1.1 * getattr(quantities, name) for name in SHOT_NUMBERS}
    return replace(quantities, banks=(BankQuantities(55e3, 0.8, True),), action_share={"disc": 0.77}, **changes)


def test_a_rule_reads_the_shot_that_it_says():
    """Its value changes with the numbers of that shot, and with no other's."""
    before = replace(COMPLETE, moving_shot=MOVING)
    burst = replace(BURST, time=20e-6, kinetic_energy=120.0, mass=0.06)
    after = {"shot": replace(before, shot=scaled(SHOT)), "moving_shot": replace(before, moving_shot=replace(
        MOVING, largest_speed=90.0, burst=burst, latest_burst_time=30e-6))}
    for name, inputs in after.items():
        moved = [rule.name for rule in RULES if apply_rule(rule, inputs).value != apply_rule(rule, before).value]
        moved += [rule.name for rule in QUANTITIES if evaluate_quantity(rule, inputs).value != evaluate_quantity(rule, before).value]
        assert moved == [rule.name for rule in (*RULES, *QUANTITIES) if rule.reads == name]


def test_the_card_says_of_which_run_a_value_is():
    card = fs.rig_card(RIG, SHOT, MOVING, 1.53e-6)
    screen = card_summary("rig", card)
    assert "[computed, metal held]" in screen and "[computed, metal moving]" in screen
    checks = {check.name: check for check in card.checks}
    assert (checks["current_share"].run, checks["current_share"].source) == ("held", "this program's shot with the metal held")
    assert checks["charge_share"].run is None
    moved = fs.rig_card(RIG, replace(SHOT, held=False))
    share = next(check for check in moved.checks if check.name == "current_share")
    assert (share.run, share.source) == ("moving", "this program's shot with moving metal")
    assert "held metal overstates" in checks["current_share"].reason and "held metal overstates" not in share.reason
    assert "(even steps)" in checks["film_margin"].reason
    assert "(computed, metal held)" in check_named("film_margin", rig(shot={"turn_voltage": 1.7e3})).reason
    assert "The checks judge a shot with moving metal" in moved.cautions[0]
