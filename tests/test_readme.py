"""The README does what it says: its script runs, its figures come out, its table has every case, its commands are those of the CI."""
from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

import pytest

import fieldsolve as fs
from benchmarks import tables
from benchmarks.__main__ import main as run_benchmarks
from benchmarks.cases import load
from benchmarks.runner import GROUPS
from fieldsolve.cases.case_file import read_case
from fieldsolve.cli.main import main
from geometries.mesher import SYSTEM_LIBRARIES

ROOT = Path(__file__).resolve().parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")
FILES = tuple(f"{group}.toml" for group in GROUPS)          # reference files whose cases are in the table
DIGITS = r"-?\d+(?:\.\d+)?(?:e-?\d+)?"


def blocks(language):
    """Fenced blocks of one language, in order."""
    return re.findall(rf"^```{language}\n(.*?)^```", README, re.MULTILINE | re.DOTALL)


def half_a_digit(number):
    """Half a unit of the last digit of a number as printed."""
    mantissa, _, power = number.partition("e")
    return 0.5 * 10.0 ** (int(power or 0) - len(mantissa.partition(".")[2]))


def assert_agree(quoted, computed):
    """Two printed (value, error) differ by less than their errors and what printing rounds off."""
    (a, error_a), (b, error_b) = quoted, computed
    assert abs(float(a) - float(b)) <= float(error_a) + float(error_b) + half_a_digit(a) + half_a_digit(b)


def with_errors(text):
    """Every figure of the script's output with the error behind it."""
    found = re.findall(rf"({DIGITS}) \+- ({DIGITS})", text)
    for b_r, b_z, error in re.findall(rf"B_r = ({DIGITS}) T, B_z = ({DIGITS}) T, error ({DIGITS}) T", text):
        found += [(b_r, error), (b_z, error)]
    return found


def test_the_script_prints_what_is_quoted():
    script, quoted = blocks("python")[0], blocks("text")[1]
    printed = subprocess.run([sys.executable, "-c", script], cwd=ROOT, capture_output=True, text=True, check=True).stdout
    assert re.sub(DIGITS, "#", printed) == re.sub(DIGITS, "#", quoted)
    assert len(with_errors(quoted)) == 6
    for pair in zip(with_errors(quoted), with_errors(printed), strict=True):
        assert_agree(*pair)


def test_the_plate_flies_as_quoted():
    script = next(block for block in blocks("python") if "AxialMotion" in block)
    quoted = next(block for block in blocks("text") if block.startswith("plate:"))
    printed = subprocess.run([sys.executable, "-c", script], cwd=ROOT, capture_output=True, text=True, check=True).stdout
    assert re.sub(DIGITS, "#", printed) == re.sub(DIGITS, "#", quoted)
    assert [float(x) for x in re.findall(DIGITS, printed)] == pytest.approx([float(x) for x in re.findall(DIGITS, quoted)], rel=3e-3)


SCALES = {"": 1.0, "m": 1e-3, "u": 1e-6, "n": 1e-9, "p": 1e-12}
LINE = re.compile(rf"^  (\w[\w, ]*?) +({DIGITS}) ([munp]?)(\w) \(error ({DIGITS}) ([munp]?)\w\)", re.MULTILINE)


def printed_estimates(text):
    """(value, error) by label, in the value's unit as printed."""
    return {label: (value, float(error) * SCALES[small] / SCALES[prefix]) for label, value, prefix, _, error, small in LINE.findall(text)}


def test_the_command_prints_what_is_quoted(monkeypatch, capsys):
    monkeypatch.chdir(ROOT)
    arguments = blocks("sh")[0].splitlines()[-1].split()
    assert main(arguments[1:arguments.index("--figure")]) == 0
    printed, quoted = printed_estimates(capsys.readouterr().out), printed_estimates(blocks("text")[0])
    assert list(quoted) == list(printed) == ["inductance, coil", "peak field, bore", "stored energy"]
    for label in quoted:
        assert_agree(quoted[label], printed[label])


def test_the_case_file_shown_is_one(tmp_path):
    (tmp_path / "shown.toml").write_text(blocks("toml")[0], encoding="utf-8")
    case = read_case(tmp_path / "shown.toml")
    assert [part.name for part in case.parts] == ["coil", "yoke"]
    assert case.currents == {"coil": 1000.0}


def test_metals_and_system_libraries_are_those_there_are():
    assert all(f"`{name}`" in README for name in fs.material_names())
    assert SYSTEM_LIBRARIES in README


def test_links_lead_somewhere():
    targets = re.findall(r"\]\(([^)#]+)\)", README)
    assert targets
    assert all((ROOT / target).exists() for target in targets)


def table_rows():
    """Cells of each row of the validation table."""
    table = README.partition(tables.START)[2].partition(tables.END)[0].strip().splitlines()
    return [[cell.strip() for cell in row.strip("|").split("|")] for row in table[2:]]


def test_the_table_has_every_case_and_none_is_out():
    rows = table_rows()
    assert [row[0] for row in rows] == [case for file in FILES for case in load(file)]
    for case, _, _, deviation, tolerance, *_ in rows:
        assert float(deviation) <= float(tolerance.removesuffix(" abs")), case


def test_the_table_goes_between_its_markers(tmp_path):
    text = f"before\n{tables.START}\nold\n{tables.END}\nafter\n"
    assert tables.replaced(text, "| new |\n") == f"before\n{tables.START}\n\n| new |\n\n{tables.END}\nafter\n"
    for wrong in ("no markers", f"{tables.END} {tables.START}", 2 * text):
        with pytest.raises(ValueError, match="once"):
            tables.replaced(wrong, "")
    (tmp_path / "wrong.md").write_text("no markers", encoding="utf-8")
    with pytest.raises(SystemExit, match="2"):
        run_benchmarks(["--table", "--into", str(tmp_path / "wrong.md")])


def test_the_ci_runs_the_tests_as_the_readme_does():
    ci = (ROOT / ".ci" / "run").read_text(encoding="utf-8")
    for command in blocks("sh")[1].splitlines():
        words = [f'"{word.replace(".venv", "$venv")}"' if ".venv" in word else word for word in command.split()]
        assert " ".join(words) in ci


def test_developers_page_has_every_module():
    page = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    modules = [path for package in ("geometries", "fieldsolve", "benchmarks") for path in (ROOT / package).rglob("[!_]*.py")]
    assert [str(path.relative_to(ROOT)) for path in modules if f"{path.name}`" not in page] == [], "add a line for each"
