"""The command `fieldsolve rig`: its tables, exit codes, JSON, and what it refuses; the shot behind it."""
import datetime
import json
import re
from pathlib import Path

import pytest

import fieldsolve as fs
from fieldsolve.cases import solve as case_solver
from fieldsolve.cases.solve import MOVING_SHOT_ACCURACY, RigShots, solve_case_shot
from fieldsolve.cli.main import main
from fieldsolve.rig.from_shot import BankQuantities

ROOT = Path(__file__).resolve().parents[2]
EXAMPLE, PAGE = ROOT / "benchmarks" / "rigs" / "blank_press.toml", ROOT / "fieldsolve" / "rig" / "README.md"
TEXT = EXAMPLE.read_text(encoding="utf-8")
BARE = TEXT.partition("[bank]")[0]
COPPER = (ROOT / "fieldsolve" / "materials" / "data" / "copper.toml").read_text(encoding="utf-8")
BRITTLE = re.sub(r"(\[ductility\]\nvalue = )\[.*\]", r"\1[5e-3, 9e-3]", COPPER).replace('name = "copper"', 'name = "brittle copper"')
TODAY = datetime.date.today().isoformat()


@pytest.fixture(scope="module")
def shot():
    """The example's shot with its metal held, at its own accuracy."""
    return fs.solve_case(fs.read_case(EXAMPLE), held=True)


@pytest.fixture
def solved(shot, monkeypatch):
    """Lets the command take the example's shot and an inductance in place of solving them."""
    monkeypatch.setattr("fieldsolve.cli.progress.solve_with_progress", lambda case, accuracy, held: shot)
    monkeypatch.setattr(case_solver, "empty_inductance", lambda section, coils: 1.56e-6)


@pytest.fixture
def case(tmp_path):
    def write(text):
        path = tmp_path / "rig.toml"
        path.write_text(text, encoding="utf-8")
        return str(path)
    return write


def changed(*pairs):
    """The example with a test of today and some text replaced."""
    text = TEXT.replace("tested = 2026-03-31", f"tested = {TODAY}")
    for old, new in pairs:
        assert old in text, old
        text = text.replace(old, new, 1)
    return text


# ---- exit codes ----------------------------------------------------------------------------------------------------------

def test_all_within_is_0(solved, case, capsys, tmp_path):
    target = tmp_path / "card.json"
    assert main(["rig", case(changed()), "--json", str(target)]) == 0
    out, err = capsys.readouterr()
    assert err == ""
    assert out.startswith(f"rig.toml: go / no-go card of {TODAY}\nVerdict: within the limits stated here")
    facts = json.loads(target.read_text(), parse_constant=lambda word: pytest.fail(word))
    assert (facts["case"], facts["day"], facts["hard_stop_outside"], facts["not_assessed"]) == ("rig.toml", TODAY, False, False)


@pytest.mark.parametrize(("pair", "code"), [
    (('wall = "12 mm"', 'wall = "6 mm"'), 1),
    (('rated_voltage = "8 kV"', 'rated_voltage = "5 kV"'), 1),
    (('rated_voltage = "8 kV"', ""), 3),
    (("[box]", "[limits]\npersons_distance = '10 m'\n[box]"), 1),
    (('inductance = "40 nH"', 'inductance = "400 nH"'), 0),                # a warning alone
    (("implants_excluded = true", ""), 3),
    (("implants_excluded = true", "implants_excluded = false"), 1),
    (("strings = 2", ""), 3),                                              # a warning that is not assessed
    ((f"tested = {TODAY}", "tested = 2020-01-01"), 1),
])
def test_exit_codes(solved, case, capsys, pair, code):
    assert main(["rig", case(changed(pair))]) == code
    assert "Verdict: " in capsys.readouterr().out


def test_a_shot_that_was_kept_is_taken_and_the_checks_are_written(shot, case, tmp_path, monkeypatch, capsys):
    monkeypatch.setattr(case_solver, "solve_case_shot", lambda *_, **__: pytest.fail("solved"))
    path, kept, table = case(TEXT), str(tmp_path / "a.shot.npz"), tmp_path / "card.csv"
    shot.save(kept)
    assert main(["rig", path, "--shot", kept, "--csv", str(table)]) in (1, 3, 4)
    comment, headings, *rows = table.read_text().splitlines()
    assert comment.startswith("# fieldsolve ") and headings.startswith("name,") and len(rows) > 10
    assert main(["rig", path, "--shot", kept, "--set", "bank.voltage=1 kV"]) == 2
    assert "is of another case, which differs in [bank]" in capsys.readouterr().err


def test_outside_counts_before_not_assessed(solved, case):
    assert main(["rig", case(changed(('wall = "12 mm"', 'wall = "6 mm"'), ("strings = 2", "")))]) == 1


@pytest.mark.parametrize("table", ["bleeder", "box"])
def test_without_bleeder_or_box_it_is_never_0(solved, case, capsys, table):
    text = re.sub(rf"^\[{table}\].*?(?=^\[)", "", changed(), flags=re.MULTILINE | re.DOTALL)
    assert main(["rig", case(text)]) == 3
    assert f"not assessed: needs [{table}]" in capsys.readouterr().out


def test_a_coil_alone_has_a_card_without_any_solve(case, capsys, monkeypatch):
    monkeypatch.setattr("fieldsolve.cli.progress.solve_with_progress", lambda *_: pytest.fail("no shot can be computed"))
    assert main(["rig", case(BARE)]) == 3
    out = capsys.readouterr().out
    assert "HARD STOPS" not in out
    assert "NOT ASSESSED: " in out


def test_a_bank_without_an_end_time_has_no_shot(solved, case, capsys):
    assert main(["rig", case(changed(('end_time = "150 us"', "")))]) == 3
    out = capsys.readouterr().out
    assert "needs a computed shot: [run] end_time and a coil" in out
    assert "within   charge over rated voltage" in out


def test_the_example_is_complete_and_stopped_by_its_old_test(solved, capsys):
    assert main(["rig", str(EXAMPLE)]) == 1
    out = capsys.readouterr().out
    assert "NOT ASSESSED" not in out
    assert "HARD STOPS: 1 of" in out
    assert "OUTSIDE  days since the bleeder's test" in out


def test_the_page_quotes_the_card_and_its_limits_can_be_read(solved, case, capsys):
    page = PAGE.read_text(encoding="utf-8")
    quoted = re.search(r"^```text\n(HARD STOPS.*?)^```", page, re.MULTILINE | re.DOTALL).group(1).splitlines()
    main(["rig", str(EXAMPLE)])
    printed = capsys.readouterr().out.splitlines()
    assert len(quoted) >= 5
    assert [line for line in quoted if line not in printed] == []
    tables = re.search(r"^```toml\n(\[limits\].*?)^```", page, re.MULTILINE | re.DOTALL).group(1)
    assert fs.read_rig(case(BARE + tables)).limits == {"charge_share": 0.8, "persons_distance": 5.0, "bleeder_time": 60.0}


# ---- what is refused -----------------------------------------------------------------------------------------------------

@pytest.mark.parametrize(("old", "new", "words"), [
    ("part_resistance =", "part_resistence =",
     r"rig\.toml: \[bleeder\] part_resistence = '47 kohm': unknown key; did you mean 'part_resistance'"),
    ('"47 kohm"', '"47 kV"', r"\[bleeder\] part_resistance = '47 kV': expected a resistance"),
    ('"47 kohm"', '"-47 kohm"', r"\[bleeder\] part_resistance = -47000.0: must be larger than 0"),
    ('wall = "12 mm"', "wall = 0", r"\[box\] wall = 0.0: must be larger than 0"),
    ('wall = "12 mm"', "wall = nan", r"\[box\] wall = nan: must be a finite number"),
    ('"mild steel"', '"polycarbonate"', r"\[box\] material = 'polycarbonate': not known; known are mild steel"),
    ('humidity = "45 %"', "humidity = 45", r"\[site\] humidity = 45.0: must be at most 1; meant '45 %'"),
    ("tested = ", "tested = 7 # ", r"\[bleeder\] tested = 7: expected a date"),
    ("implants_excluded = true", 'implants_excluded = "yes"', r"\[site\] implants_excluded = 'yes': expected true or false"),
    ("[box]", "[limits]\ncharge_shar = 1\n[box]", r"\[limits\] charge_shar = 1: unknown limit; did you mean 'charge_share'"),
    ("[box]", "[limits]\npersons_distance = '3 kg'\n[box]", r"\[limits\] persons_distance = '3 kg': expected a length"),
    ("[box]", "[limits]\nimplants_excluded = false\n[box]", r"\[limits\] implants_excluded = False: must be so"),
    ("[box]", "[bocks]", r"\[bocks\]: neither a part"),
    ('length = "0.6 m"', 'lenght = "0.6 m"', r"\[leads\] lenght = '0.6 m': unknown key; did you mean 'length'"),
    ('rated_reversal = "90 %"', "rated_reversal = 90", r"\[capacitor\] rated_reversal = 90.0: must be at most 1; meant '90 %'"),
    ('arc_voltage = "80 V"', "rated_reversal = 80", r"\[bank\] rated_reversal = 80 is a share .* at most 1"),
    ('arc_voltage = "80 V"', 'rated_voltage = "-8 kV"', r"\[bank\] rated_voltage = -8000.0 must be a positive number"),
    ('capacitance = "120 uF"', 'capacitence = "120 uF"', r"\[bank\] capacitence = '120 uF': unknown key; did you mean 'capacitance'"),
    ('end_time = "150 us"', 'end_tim = "200 us"', r"\[run\] end_tim = '200 us': unknown key; did you mean 'end_time'"),
])
def test_wrong_tables_are_one_line_and_exit_code_2(solved, case, capsys, old, new, words):
    assert main(["rig", case(changed((old, new)))]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert err.count("\n") == 1
    assert err.count("rig.toml: ") == 1
    assert re.search(words, err)


@pytest.mark.parametrize(("options", "words"), [
    (["--json", "no/such/folder/out.json"], "no such folder"), (["--accuracy", "2"], "--accuracy = 2: must be"),
])
def test_a_wrong_option_is_refused_before_any_solve(case, capsys, monkeypatch, options, words):
    monkeypatch.setattr("fieldsolve.cli.progress.solve_with_progress", lambda *_: pytest.fail("solved"))
    assert main(["rig", case(changed()), *options]) == 2
    assert words in capsys.readouterr().err


# ---- tables and shot -----------------------------------------------------------------------------------------------------

def test_tables_become_the_rig():
    rig = fs.read_rig(EXAMPLE)
    assert rig.site.temperature == pytest.approx(294.15)
    assert (rig.bleeder.parts, rig.bleeder.tested) == (6, datetime.date(2026, 3, 31))
    assert rig.leads == fs.Leads(0.5e-3, 40e-9, length=0.6, spacing=3.2e-3, width=0.06)
    assert rig.former == fs.Former(0.08, strength=25e3)
    assert rig.instruments.rogowski_area == pytest.approx(2e-5)


def test_the_lower_rated_voltage_counts_and_a_bank_above_it_has_a_card(solved, case, capsys):
    path = case(changed(('arc_voltage = "80 V"', 'rated_voltage = "5 kV"')))
    assert [bank.rated_voltage for bank in fs.read_rig(path).banks] == [5e3]
    assert main(["rig", path]) == 1
    assert "bank: 5.8 kV, rated 5 kV" in capsys.readouterr().out
    with pytest.raises(fs.errors.InputError, match="above rated_voltage = 5000 V: charge less"):
        fs.solve_case(fs.read_case(path))


def test_a_second_bank_is_read_with_its_own_rating(case):
    text = changed(('end_time = "150 us"', ""), ("[run]", '[second_bank]\ncapacitance = "10 uF"\nvoltage = "9 kV"\n[run]'),
                   ('rated_voltage = "8 kV"', ""), ('arc_voltage = "80 V"', 'rated_voltage = "7 kV"'))
    rig = fs.read_rig(case(text))
    assert [bank.voltage for bank in rig.banks] == [5.8e3, 9e3]
    assert [bank.rated_voltage for bank in rig.banks] == [7e3, None]
    assert [bank.rated_current for bank in rig.banks] == [100e3, 100e3]


@pytest.mark.parametrize("source", [EXAMPLE, str(EXAMPLE), fs.read_case(EXAMPLE).tables, fs.read_case(EXAMPLE)],
                         ids=["path", "text", "dictionary", "case"])
def test_reading_a_rig_computes_nothing(source, monkeypatch):
    monkeypatch.setattr(case_solver, "empty_inductance", lambda *_: pytest.fail("computed"))
    monkeypatch.setattr("fieldsolve.shot.solve.solve_shot", lambda *_, **__: pytest.fail("computed"))
    rig = fs.read_rig(source)
    assert rig.banks[0].rated_current == 100e3 and rig.bleeder.strings == 2
    card = fs.rig_card(rig)
    assert "needs a computed shot" in next(check.reason for check in card.checks if check.name == "current_share")


def test_figures_of_the_shot(shot):
    quantities = fs.shot_quantities(shot)
    assert quantities.banks[0].peak_current == pytest.approx(abs(shot.history.peak("current", "bank")[0]))
    assert quantities.banks[0] == BankQuantities(quantities.banks[0].peak_current, shot.reversal, True)
    crossing = next(time for time, event in shot.events if "reverses" in event)            # half a period
    assert quantities.frequency == pytest.approx(0.5 / crossing, rel=1e-3)
    assert quantities.coil_current == pytest.approx(quantities.banks[0].peak_current, rel=1e-6)
    assert quantities.current_rate == pytest.approx(abs(shot.series("current_rate", "coil")).max(), rel=1e-6)
    assert quantities.action == shot.action("coil")
    assert 0.5 < quantities.action_share["disc"] < 1.5
    assert quantities.outward_force > 0
    assert quantities.field_rate > 30 / 15e-6                                                   # about 30 T in about 15 us, at least
    stored = sum(energy for name, energy in shot.energy.final_energies().items() if name in shot.energy.stores)
    assert quantities.energy_left == pytest.approx(stored / shot.energy.initial)
    assert not quantities.interrupted


@pytest.mark.slow
def test_a_record_that_ends_early_settles_nothing():
    """A bank has not turned by a quarter of its period, and one that does not ring has to die first."""
    example = fs.read_case(EXAMPLE).with_values({"run.end_time": "20 us", "run.heating": False, "run.accuracy": 5e-2})
    short = fs.solve_case(example)
    quantities = fs.shot_quantities(short)
    assert not quantities.banks[0].settled
    assert quantities.frequency is None
    assert quantities.action_share == {"disc": None}
    assert quantities.energy_left > 0.1
    card = {check.name: check for check in fs.rig_card(fs.read_rig(example), short).checks}
    assert "beyond the first current zero" in card["reversal_share"].reason
    assert "still to come" in card["rim_action"].reason


@pytest.mark.slow
def test_the_shot_with_moving_metal_tells_of_the_burst(tmp_path, monkeypatch):
    """Unless [run] motion = false; of a coil that breaks at 0.5 % its speed is that of the shot, and the held shot stays the checks'."""
    monkeypatch.setattr(case_solver, "empty_inductance", lambda section, coils: 1.56e-6)
    path, runs = tmp_path / "rig.toml", []
    (tmp_path / "brittle.toml").write_text(BRITTLE, encoding="utf-8")

    def solve(case, accuracy, held):
        runs.append((held, accuracy))
        return solve_case_shot(case, 3e-2, held)
    path.write_text(changed(('end_time = "150 us"', 'end_time = "18 us"'), ("turns = 8", "turns = 4"),
                            ('material = "copper"', 'material = "brittle.toml"'), ('strength = "25 kN"', 'strength = "1 kN"')),
                    encoding="utf-8")
    shots = fs.solve_rig_shots(fs.read_case(path), solve=solve)
    assert runs == [(True, 1e-2), (False, MOVING_SHOT_ACCURACY)]
    moving = fs.moving_shot_quantities(shots.moving_shot)
    assert moving.burst.turn.startswith("coil, turn") and moving.burst.speed <= moving.largest_speed
    assert moving.end_time == pytest.approx(18e-6)
    card = fs.rig_card(fs.read_rig(path), shots.shot, shots.moving_shot, shots.coil_inductance)
    assert "may break from" in " ".join(card.cautions)
    found = {quantity.name: quantity for quantity in card.quantities}
    assert (found["coil_current"].run, found["fastest_turn"].run, found["energy"].run) == ("held", "moving", None)
    assert f"at {found['bound_speed'].value:.0f} m/s (all the bank's energy in the coil; fastest turn" in next(
        check.reason for check in card.checks if check.name == "wall_margin")


def test_a_shot_that_fails_on_the_way_shows_what_it_got_to(shot, monkeypatch):
    failure = fs.errors.SolveError("no step can be made")

    def solve(case, accuracy, held):
        if not held:
            raise failure
        return shot
    monkeypatch.setattr(case_solver, "empty_inductance", lambda section, coils: 1.56e-6)
    example = fs.read_case(EXAMPLE).with_values({"run.motion": None})
    assert fs.solve_rig_shots(example, solve=solve) == RigShots(shot, None, 1.56e-6)
    failure.partial = shot
    shots = fs.solve_rig_shots(example, solve=solve)
    assert shots.moving_shot is shot
    assert fs.moving_shot_quantities(shot) is None                  # held turns say nothing of a burst


def test_the_command_solves_for_itself(case, capsys):
    """The whole way once, coarse: 49 kA within a tenth of the lumped V sqrt(C/L) estimate of a loaded coil."""
    coarse = changed(("accuracy = 1e-2", "accuracy = 5e-2"), ('end_time = "150 us"', 'end_time = "60 us"'),
                     ("motion = true", "motion = false"))
    assert main(["rig", case(coarse)]) == 3
    out = " ".join(capsys.readouterr().out.split())
    kiloampere = float(re.search(r"bank: ([\d.]+) kA, rated 100 kA", out).group(1))
    assert kiloampere == pytest.approx(48, rel=0.1)
    assert "% of the energy is still to come" in out
    henry = float(re.search(r"([\d.]+) uH empty at 10 kHz", out).group(1))
    assert henry == pytest.approx(1.53, rel=0.03)                  # coaxial filaments, another code
