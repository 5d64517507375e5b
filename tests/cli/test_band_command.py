"""`fieldsolve band`: what it prints and writes, and what it refuses before a shot."""
import csv
import json
import re

import pytest

from fieldsolve.cases.case_file import read_case
from fieldsolve.cli.main import main
from tests.propagation.small_case import TABLES, small_bands


@pytest.fixture
def case(tmp_path):
    path = tmp_path / "small.toml"
    path.write_text(read_case(TABLES).to_toml())
    return path


@pytest.fixture
def options(monkeypatch):
    """The keywords that the bands are computed with, which are those of the small case."""
    found, computed = {}, small_bands()

    def bands(case, **keywords):
        found.update(keywords, case=case)
        return computed
    monkeypatch.setattr("fieldsolve.propagation.solve.bands", bands)
    return found


@pytest.fixture
def unsolved(monkeypatch):
    monkeypatch.setattr("fieldsolve.propagation.full_shots.solve_case_shot", lambda *_, **__: pytest.fail("it was solved"))


def test_bands_are_printed_and_written(case, options, tmp_path, capsys):
    outputs = {name: tmp_path / name for name in ("out.json", "out.csv", "out.html")}
    assert main(["band", str(case), "--draws", "2000", "--checks", "20", "--seed", "5", "--prior", "disc.radius = 1 %", "--held",
                 "--json", str(outputs["out.json"]), "--csv", str(outputs["out.csv"]), "--report", str(outputs["out.html"])]) == 0
    assert options.pop("case") == read_case(case) and options.pop("progress")
    assert options == {"prior": {"disc.radius": 0.01}, "held": True, "draws": 2000, "checks": 20, "seed": 5, "accuracy": None}
    out = capsys.readouterr().out
    assert re.search(r"peak current of coil +\d\S* kA \(\d\S* to \d\S* kA, \+- \S+ %\); bank\.voltage \d+ %", out)
    assert max(map(len, out.splitlines()[:-1])) <= 100
    facts, band = json.loads(outputs["out.json"].read_text()), small_bands().band("peak current of coil")
    row = next(row for row in facts["rows"] if row["name"] == "peak current of coil")
    assert row["low"] == band.low and row["total"] == dict(band.total) and facts["provenance"]["case"] == "case"
    lines = [line for line in outputs["out.csv"].read_text().splitlines() if not line.startswith("#")]
    rows = list(csv.DictReader(lines))
    assert float(rows[100]["current of coil, high [A]"]) == small_bands().trace("current", "coil").high[100]


def test_each_number_of_the_page_stands_beside_its_pointer_into_the_json(case, options, tmp_path):
    page, facts = tmp_path / "out.html", tmp_path / "out.json"
    assert main(["band", str(case), "--report", str(page), "--json", str(facts)]) == 0
    found, values = json.loads(facts.read_text()), 0
    for pointer, value in re.findall(r'data-key="([^"]+)" data-value="([^"]+)"', page.read_text()):
        _, part, number, key = pointer.split("/")
        assert found[part][int(number)][key] == pytest.approx(float(value)), pointer
        values += 1
    assert values >= 4 * 5
    assert page.read_text().count("data:image/png") == 2


@pytest.mark.parametrize(("options", "match"), [
    (["--draws", "10"], "draws = 10"), (["--draws", "many"], "no whole number"), (["--prior", "disc.radius"], "expected a key and a share"),
    (["--prior", "disc.radius = 1 %", "--prior", "disc.radius = 2 %"], "--prior disc.radius: is given twice"),
    (["--prior", "disc.radius = 1 mm"], "--prior disc.radius"), (["--checks", "1"], "checks = 1"), (["--report", "out.txt"], r"\.html"),
    (["--set", "bank.capacitance=20 uF +- 30 uF"], "larger than the value"), (["--set", "bank.capacitance=20 uF +- 3"], "has no unit"),
    (["--set", "bank.capacitance=20 uF +- -3 %"], "is negative"), (["--accuracy", "0"], "--accuracy"),
    (["--set", "bank.voltage=4 kV", "--set", "bank.inductance=350 nH"], "gives no uncertainty")])
def test_wrong_use_is_refused_before_a_shot(case, capsys, unsolved, options, match):
    try:
        code = main(["band", str(case), *options])
    except SystemExit as refused:            # of the parser
        code = refused.code
    assert code == 2
    assert re.search(match, capsys.readouterr().err)
