"""The command `fieldsolve shot`: its case tables, files and exit codes, Ctrl-C, figures, the measured record, mesh series."""
import csv
import json
import math
import os
import re
import signal

import meshio
import numpy as np
import pytest
from scipy.interpolate import CubicHermiteSpline

import fieldsolve as fs
from fieldsolve.cases.case_file import read_case
from fieldsolve.cases.shot_tables import RunSettings
from fieldsolve.cli import progress as shot_run
from fieldsolve.cli.main import main
from fieldsolve.errors import InputError
from fieldsolve.records.measured_current import peak_difference, read_current
from fieldsolve.report.files.series import shot_columns, write_csv, write_npz
from fieldsolve.report.plots import shot as shot_figures
from fieldsolve.report.text.shot import exceeded_ratings, shot_facts
from fieldsolve.shot.integrator import field_circuit
from tests.rigs import RIG

RUN = '[run]\nend_time = "20 us"\naccuracy = 3e-2\nheating = false\n'
FINISHED = (0, 4)            # so early the skin is still too thin for the accuracy, which the exit code says
CONTRACT = {"coil_peak_A", "coil_peak_time_s", "disc_peak_A", "loop_voltage_peak_V", "disc_power_peak_W", "field_peak_T", "radius_ratio",
            "rim_thickness_ratio", "temperature_max_K", "coil_burst_time_s", "energy_residual", "steps", "seconds"}


def case_of(folder, text):
    path = folder / "rig.toml"
    path.write_text(text, encoding="utf-8")
    return read_case(path)


def solved(folder, text):
    return fs.solve_case(case_of(folder, text), held=True)


@pytest.fixture(scope="module")
def shot(tmp_path_factory):
    return solved(tmp_path_factory.mktemp("rig"), RIG + RUN.replace("heating = false", "heating = true"))


@pytest.fixture
def case(tmp_path):
    def write(text):
        path = tmp_path / "rig.toml"
        path.write_text(text, encoding="utf-8")
        return str(path)
    return write


# ---- case files --------------------------------------------------------------------------------------------------------

def test_tables_become_objects(tmp_path):
    more = ('rated_voltage = "5 kV"\nrated_reversal = "60 %"\nrated_current = "90 kA"\nfires_at = "1 us"\n'
            '[second_bank]\ncapacitance = 1e-5\nvoltage = "2 kV"\nfires_at = "5 us"\n'
            '[crowbar]\nresistance = "10 mohm"\nacross = "capacitor"\nfires_at = "30 us"\n[leads]\nresistance = "1 mohm"\n'
            'inductance = "20 nH"\n[run]\nend_time = "60 us"\nmotion = false\n')
    case = case_of(tmp_path, RIG + more)
    assert case.banks == (fs.Bank(120e-6, 4e3, 6e-3, 350e-9, 80.0, 1e-6, 5e3, 0.6, 90e3), fs.Bank(1e-5, 2e3, fires_at=5e-6))
    assert case.crowbar == fs.Crowbar(10e-3, across="capacitor", fires_at=30e-6)
    assert case.leads == fs.Leads(1e-3, 20e-9)
    assert case.run == RunSettings(end_time=60e-6, motion=False, heating=True, accuracy=None)


@pytest.mark.parametrize(("old", "new", "words"), [
    ("capacitance =", "capacitence =", r"rig.toml: \[bank\] capacitence = '120 uF': unknown key; did you mean 'capacitance'"),
    ('voltage = "4 kV"\n', "", r"\[bank\]: voltage is missing"),
    ('"4 kV"', '"4 kA"', r"\[bank\] voltage = '4 kA': expected a voltage"),
    ('"4 kV"', '"50 V"', r"\[bank\] voltage = 50 V does not exceed arc_voltage"),
    ('end_time = "20 us"', "", r"\[run\]: end_time is missing"),
    ('"20 us"', "0", r"\[run\] end_time = 0 s: give a positive number"),
    ("heating = false", 'heating = "no"', r"\[run\] heating = 'no': expected true or false"),
    ("heating", "heeting", r"\[run\] heeting = False: unknown key; did you mean 'heating'"),
    ("accuracy = 3e-2", "accuracy = 2", r"\[run\] accuracy = 2: must be"),
    ("[run]", "[leads]\nlenth = 1\n[run]", r"\[leads\] lenth = 1: unknown key; did you mean 'length'"),
    ("[run]", '[crowbar]\nresistance = "1 mohm"\nacross = "gap"\n[run]', r"\[crowbar\] across = 'gap': choose"),
    ("[run]", '[former]\nstiffness = "4 MN"\n[run]', r"\[former\] stiffness = 4000000.0 N without strength"),
    ("[run]", '[former]\nmass = "-1 g"\n[run]', r"\[former\] mass = -0.001 kg"),
    ("[run]", '[former]\nmas = "1 g"\n[run]', r"\[former\] mas = '1 g': unknown key; did you mean 'mass'"),
    ("[run]", '[field]\napplied_field = "1 T"\n[run]', r"applied_field = 1 T: a shot is computed without one"),
])
def test_wrong_tables_are_refused(case, capsys, old, new, words):
    assert old in RIG + RUN
    assert main(["shot", case((RIG + RUN).replace(old, new, 1)), "--held"]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert err.count("\n") == 1
    assert re.search(words, err)


def test_metal_moves_unless_it_is_held_and_the_frames_of_a_camera_are_listed(case, capsys, tmp_path):
    target = tmp_path / "out.json"
    short = RIG + RUN.replace("20 us", "6 us")
    assert main(["shot", case(short), "--json", str(target), "--frames", "500 kHz"]) == 0
    out, facts = capsys.readouterr().out, json.loads(target.read_text())
    assert "metal moving" in out and not facts["held"] and facts["radius_ratio"] < 1
    assert facts["former"] is None
    frames = facts["frames"]
    assert frames["times_s"] == pytest.approx([0, 2e-6, 4e-6, 6e-6])
    assert frames["outer_radius_m"]["disc"][0] == pytest.approx(15e-3) and np.diff(frames["outer_radius_m"]["disc"])[-1] < 0
    assert "frames at 500 kHz" in out and "outer radius of disc" in out and "  2.000 us  " in out
    for rate in ("0 Hz", "1 mm", "-1 MHz", "nan"):
        assert main(["shot", case(short), "--frames", rate]) == 2
        assert "--frames" in capsys.readouterr().err


def test_a_former_in_the_case_is_round_the_turns(case, capsys, tmp_path):
    target = tmp_path / "out.json"
    former = '[former]\nmass = "80 g"\nstrength = "25 kN"\n'
    assert main(["shot", case(RIG + RUN.replace("20 us", "3 us").replace("1e-2", "3e-2") + former), "--json", str(target)]) in FINISHED
    lines_read = capsys.readouterr().out
    assert (
        "former 80 g, tears at 25 kN of hoop tension, stiffness 1.25 MN, which assumes that it breaks at 2 % of strain (common"
        in " ".join(lines_read.split())
    )
    assert json.loads(target.read_text())["former"] == {"mass_kg": 0.08, "strength_N": 25e3, "stiffness_N": 1.25e6,
                                                        "stiffness_assumed": True}


def test_a_former_is_read_whole(tmp_path):
    lines_read = '[former]\nmass = "80 g"\nstrength = "25 kN"\nstiffness = "4 MN"\n'
    assert case_of(tmp_path, RIG + RUN + lines_read).former == fs.Former(0.08, 4e6, 25e3)
    assert case_of(tmp_path, RIG + RUN + '[former]\nmass = "80 g"\n').former == fs.Former(0.08)
    assert case_of(tmp_path, RIG + RUN).former is None


# ---- the command -------------------------------------------------------------------------------------------------------

def test_the_command_writes_every_output_requested(case, capsys, tmp_path):
    np.savetxt(tmp_path / "scope.csv", [[0, 0], [5e-6, 3e4], [10e-6, 5e4], [15e-6, 4e4]], delimiter=",", header="time, current")
    files = [str(tmp_path / f"out.{suffix}") for suffix in ("json", "csv", "npz")]
    assert main(["shot", case(RIG + RUN + "motion = false\n"), "--json", files[0], "--csv", files[1], "--npz", files[2],
                 "--measured", str(tmp_path / "scope.csv")]) == 0
    out, err = capsys.readouterr()
    assert err == ""                                                # no bar where there is no terminal
    assert "metal held" in out
    assert "computed less measured" in " ".join(out.split()) and all(len(line) <= 100 for line in out.partition("written:")[0].splitlines())
    facts = json.loads((tmp_path / "out.json").read_text(), parse_constant=lambda word: pytest.fail(word))
    assert set(facts) >= CONTRACT
    assert facts["temperature_max_K"] is None                       # nothing heats here
    assert facts["measured"]["peak_A"] == pytest.approx(5e4, rel=0.05)
    comment, *lines = (tmp_path / "out.csv").read_text().splitlines()
    assert comment.startswith(f"# fieldsolve {fs.__version__}, written 20") and facts["provenance"]["case_sha256"] in comment
    rows = list(csv.reader(lines))
    arrays = np.load(tmp_path / "out.npz")
    assert rows[0] == [name for name in arrays if name not in ("interrupted", "provenance")]
    lines_read = np.array(rows[1:], dtype=float).T
    assert lines_read == pytest.approx(np.array([arrays[name] for name in rows[0]]), rel=1e-8)
    assert len(rows) - 2 == facts["steps"]


def test_errors_are_computed_when_requested(case, capsys, tmp_path):
    target = tmp_path / "out.json"
    assert main(["shot", case(RIG + RUN.replace("20 us", "8 us")), "--held", "--errors", "--json", str(target)]) in FINISHED
    assert re.search(r"^  errors +current of coil .* A, .*peak field, bore", capsys.readouterr().out, re.MULTILINE)
    facts = json.loads(target.read_text())
    errors = facts["errors"]
    assert 0 < errors["coil_peak_A"] < 0.01 * facts["coil_peak_A"]
    assert 0 < errors["bodies"]["disc"]["rim_pressure_peak_Pa"] < 0.1 * facts["bodies"]["disc"]["rim_pressure_peak_Pa"]
    assert errors["energies_at_end_J"]["field"] > 0
    assert not {"seconds", "steps", "accuracy"} & set(errors)


def test_a_rating_that_is_exceeded_is_reported_and_ends_with_1(case, capsys):
    assert main(["shot", case(RIG + 'rated_current = "20 kA"\n' + RUN), "--held"]) == 1
    assert "WARNING: bank: " in capsys.readouterr().out


@pytest.mark.parametrize("after", [1, 5])
def test_ctrl_c_leaves_what_was_computed_marked(case, capsys, tmp_path, monkeypatch, after):
    solve = fs.solve_shot
    calls = []

    def progress(time):
        calls.append(time)
        if len(calls) == after:
            raise KeyboardInterrupt
    monkeypatch.setattr("fieldsolve.shot.solve.solve_shot", lambda *args, **options: solve(*args, **{**options, "progress": progress}))
    target = tmp_path / "out.csv"
    assert main(["shot", case(RIG + RUN), "--held", "--csv", str(target), "--json", str(tmp_path / "out.json"),
                 "--figures", str(tmp_path / "figures")]) == 1
    assert "INTERRUPTED" in capsys.readouterr().out
    assert target.read_text().startswith("# INTERRUPTED at ")
    assert json.loads((tmp_path / "out.json").read_text())["interrupted"] is True


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_a_signal_leaves_the_marked_record_draws_nothing_and_says_its_code(case, capsys, tmp_path, monkeypatch, number):
    solve = fs.solve_shot

    def solved(*arguments, progress, **options):
        def interrupt(time):
            progress(time)
            if time > 0:
                os.kill(os.getpid(), number)
        return solve(*arguments, progress=interrupt, **options)
    monkeypatch.setattr("fieldsolve.shot.solve.solve_shot", solved)
    before = signal.getsignal(number)
    assert main(["shot", case(RIG + RUN), "--held", "--json", str(tmp_path / "out.json"), "--report", str(tmp_path / "out.html")]) \
        == 128 + number
    assert json.loads((tmp_path / "out.json").read_text())["interrupted"] is True and not (tmp_path / "out.html").exists()
    assert "not written: --report" in capsys.readouterr().err and signal.getsignal(number) is before


def test_a_shot_that_fails_on_the_way_leaves_what_was_computed(case, capsys, tmp_path, monkeypatch):
    heat_of_cells, calls = field_circuit.triangle_heat_rates, []

    def triangle_heat_rates(*stage):
        calls.append(stage)
        return heat_of_cells(*stage) * (math.nan if len(calls) > 9 else 1.0)
    monkeypatch.setattr(field_circuit, "triangle_heat_rates", triangle_heat_rates)
    assert main(["shot", case(RIG + RUN), "--held", "--csv", str(tmp_path / "out.csv"), "--json", str(tmp_path / "out.json")]) == 1
    out, err = capsys.readouterr()
    assert "INTERRUPTED" in out
    assert re.fullmatch(r"fieldsolve: in the step after .* s: the heat is not a number.*\n", err)
    assert (tmp_path / "out.csv").read_text().startswith("# INTERRUPTED at ")
    assert json.loads((tmp_path / "out.json").read_text())["steps"] == 4


def test_the_bar_shows_on_a_terminal_only(capsys, monkeypatch):
    with shot_run._progress_bar(20e-6) as progress:
        progress(10e-6)
    assert capsys.readouterr().err == ""
    monkeypatch.setattr("sys.stderr.isatty", lambda: True, raising=False)
    with shot_run._progress_bar(20e-6) as progress:
        progress(20e-6)
    assert "of 20.0 us" in capsys.readouterr().err


# ---- facts and tables --------------------------------------------------------------------------------------------------

def test_facts_are_those_of_the_shot(shot):
    facts = shot_facts(shot)
    json.dumps(facts, allow_nan=False)
    assert facts["coil_peak_A"] == shot.peak("current", "coil").value
    assert facts["bodies"]["disc"]["radial_impulse_Ns"] == shot.impulse("disc") < 0
    assert facts["coils"]["coil"]["integral_I2dt_A2s"] == shot.action("coil") > 0
    assert sum(facts["energies_at_end_J"].values()) == pytest.approx(facts["energy_initial_J"], rel=5e-3)
    assert facts["exceeded"] == exceeded_ratings(shot) == []


def test_the_balance_closes_with_a_crowbar(tmp_path):
    fired = solved(tmp_path, RIG + '[crowbar]\nresistance = "10 mohm"\ninductance = "50 nH"\nfires_at = "12 us"\n'
                   '[second_bank]\ncapacitance = "10 uF"\nvoltage = "4 kV"\ninductance = "1 uH"\n' + RUN)
    assert fired.energy.residual < 2e-3
    assert "current of crowbar [A]" in shot_columns(fired)
    texts = [text.get_text() for text in shot_figures.plot_current(fired)[1].texts]        # several events: numbers, and their words once
    assert texts[:-1] == [str(k + 1) for k in range(len(fired.events))]
    assert all(event in texts[-1] for _, event in fired.events)


def test_tables_want_their_suffix(shot, tmp_path):
    for write, suffix in ((write_csv, ".csv"), (write_npz, ".npz")):
        with pytest.raises(InputError, match=rf"must end in \{suffix}"):
            write(shot, tmp_path / "out.txt")


# ---- figures -----------------------------------------------------------------------------------------------------------

def test_every_figure_is_written_and_names_its_units(shot, tmp_path):
    paths = shot_figures.write_shot_figures(shot, tmp_path / "new")
    assert [path.stem for path in paths] == ["current", "disc", "field", "force", "temperature", "energy", "inductance", "metal", "map",
                                             "current_density"]
    assert sorted(path.name for path in (tmp_path / "new").iterdir()) == sorted(path.name for path in paths)
    axes = [*shot_figures.plot_current(shot), *shot_figures.plot_body(shot), shot_figures.plot_probes(shot), shot_figures.plot_force(shot),
            shot_figures.plot_temperature(shot), shot_figures.plot_energy(shot)]
    assert all("[" in ax.get_ylabel() for ax in axes)
    assert all(ax.get_xlabel().startswith("time [µs]") for ax in (axes[1], axes[3], *axes[4:]))


def test_the_energy_is_stacked_to_the_whole(shot):
    stack = shot_figures.plot_energy(shot).collections
    top = stack[-1].get_paths()[0].vertices
    upper = max(y for x, y in top if 5 < x < 6)
    assert upper == pytest.approx(100, abs=100 * shot.energy.residual + 1e-9)


def test_without_heating_there_is_no_temperature_to_draw(tmp_path):
    cold = solved(tmp_path, RIG + RUN.replace("20 us", "4 us"))
    with pytest.raises(InputError, match="without heating"):
        shot_figures.plot_temperature(cold)


# ---- measured beside computed ------------------------------------------------------------------------------------------

def record_of(folder, text):
    path = folder / "scope.csv"
    path.write_text(text, encoding="utf-8")
    return path


def test_the_difference_of_a_scaled_and_shifted_record_is_found(shot, tmp_path):
    time = np.linspace(1e-6, 20e-6, 400)
    cubic = CubicHermiteSpline(shot.times, shot.series("current", "coil"), shot.series("current_rate", "coil"))
    current = 0.9 * cubic(time - 0.5e-6)
    path = record_of(tmp_path, "# of a test\n" + "\n".join(f"{t:.9g};{i:.9g}" for t, i in zip(time, current, strict=True)))
    difference = peak_difference(shot, read_current(path), "coil")
    assert difference.share == pytest.approx(1 / 0.9 - 1, rel=0.01)
    assert difference.time == pytest.approx(-0.5e-6, abs=0.3e-6)
    axes = fs.plot_current(shot, measured=path)
    assert "computed less measured" in axes[0].get_title()


def test_the_peak_of_a_noisy_record_is_that_of_a_local_fit_above_its_baseline(shot, tmp_path):
    time, rng = np.linspace(-3e-6, 20e-6, 2300), np.random.default_rng(4)
    true = np.interp(time, shot.times, shot.series("current", "coil"), left=0.0)
    noisy = 0.94 * true + 500.0 + rng.normal(0, 0.03 * true.max(), len(time))
    path = record_of(tmp_path, "\n".join(f"{t:.9g},{i:.9g}" for t, i in zip(time, noisy, strict=True)))
    difference = peak_difference(shot, read_current(path), "coil")
    assert noisy.max() - 500 > 1.0 * true.max()                           # the highest sample is off by more than 6 %
    assert difference.share == pytest.approx(1 / 0.94 - 1, abs=0.01)
    assert difference.time == pytest.approx(0.0, abs=0.4e-6)
    assert difference.baseline == pytest.approx(500.0, abs=0.01 * true.max())
    off = np.sqrt(np.mean((0.06 * true[time > 0])**2) + (0.03 * true.max())**2)
    assert difference.residual == pytest.approx(off, rel=0.1)


@pytest.mark.parametrize(("text", "words"), [
    ("# t, I\n0,0\n1e-6,1,2\n2e-6,3\n", r"scope.csv, line 3: 3 column\(s\)"),
    ("0 0\n1e-6\n2e-6 3\n", "line 2: fewer than 2 columns"),
    ("0,0\n1e-6,abc\n2e-6,1\n", "line 2: 'abc' is not a number"),
    ("0,0\n1e-6,nan\n2e-6,1\n", "needs at least 3"),
    ("0,0\n2e-6,1\n2e-6,1\n", "line 3: time 2e-06 s does not increase"),
    ("time,current\n0,0\n", "needs at least 3"),
    ("0,0\n", "needs at least 3"),
])
def test_a_bad_record_is_refused_by_its_line(tmp_path, text, words):
    with pytest.raises(InputError, match=words):
        read_current(record_of(tmp_path, text))


def test_a_record_of_another_time_is_refused(shot, tmp_path):
    with pytest.raises(InputError, match="is its time in seconds"):
        peak_difference(shot, read_current(record_of(tmp_path, "1 0\n2 5\n3 1\n")), "coil")


def test_a_zero_record_has_no_relative_difference(shot, tmp_path):
    assert math.isinf(peak_difference(shot, read_current(record_of(tmp_path, "0 0\n2e-6 0\n3e-6 0\n")), "coil").share)


# ---- mesh files --------------------------------------------------------------------------------------------------------

def test_a_mesh_file_an_instant_and_an_index_of_times(shot, tmp_path):
    paths = fs.write_vtu_series(shot, tmp_path / "series", every=len(shot.times) // 2)
    lines = (tmp_path / "series" / "index.txt").read_text().splitlines()
    assert lines[0].startswith("#")
    lines_read = [line.split() for line in lines[1:]]
    assert [name for name, _ in lines_read] == [path.name for path in paths]
    assert float(lines_read[-1][1]) == pytest.approx(shot.times[-1])
    grid = meshio.read(paths[-1])
    r, z, _ = grid.points.T
    inside = (r < 10e-3) & (np.abs(z) < 0.8e-3)
    assert grid.point_data["J_phi"][inside] == pytest.approx(shot.field_at(20e-6).current_density(r[inside], z[inside]), rel=0.05, abs=1e6)
    with pytest.raises(InputError, match="every = 0"):
        fs.write_vtu_series(shot, tmp_path, every=0)
