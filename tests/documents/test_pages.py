"""Pages made from the code are fresh, tables name every key, links lead somewhere, and the CI runs what the README says."""
from __future__ import annotations

import dataclasses
import doctest
import importlib
import inspect
import pkgutil
import re

import pytest

import fieldsolve as fs
import geometries as geo
from benchmarks import tables, timing
from benchmarks.__main__ import main as run_benchmarks
from benchmarks.cases import load
from benchmarks.documents import pages
from benchmarks.documents.docstrings import markdown, summary
from benchmarks.documents.module_table import ROOT, module_page
from benchmarks.runner import GROUPS
from fieldsolve.cases.case_file import FIELD_KEYS, METAL_KEYS, SHAPES, read_case
from fieldsolve.cases.shot_tables import BANK_KEYS, CROWBAR_KEYS, FORMER_KEYS, LEADS_KEYS, RUN_KEYS
from geometries.mesher import SYSTEM_LIBRARIES

DOCUMENTS = sorted([ROOT / "README.md", ROOT / "DEVELOPERS.md", *ROOT.glob("fieldsolve/**/*.md"), *ROOT.glob("benchmarks/**/*.md")])


def text_of(page: str) -> str:
    return (ROOT / page).read_text(encoding="utf-8")


def blocks(page: str, language: str) -> list[str]:
    """Fenced blocks of one language, in order."""
    return re.findall(rf"^```{language}\n(.*?)^```", text_of(page), re.MULTILINE | re.DOTALL)


def anchors(text: str) -> set[str]:
    """Anchors of a page's headings."""
    headings = re.findall(r"^#+ (.*)$", re.sub(r"^```.*?^```", "", text, flags=re.MULTILINE | re.DOTALL), re.MULTILINE)
    return {"".join(c for c in heading.lower() if c.isalnum() or c in " -_").replace(" ", "-") for heading in headings}


# ---- made from the code --------------------------------------------------------------------------------------------------

@pytest.mark.parametrize("page", pages.PAGES)
def test_a_page_made_from_the_code_is_fresh(page):
    assert pages.PAGES[page]() == text_of(page), "stale: run `python -m benchmarks documents`"


def test_the_module_table_has_every_module_once():
    page = module_page()
    for package in ("geometries", "fieldsolve", "benchmarks"):
        for path in (ROOT / package).rglob("[!_]*.py"):
            assert f"## {path.parent.relative_to(ROOT)}\n" in page
            assert f"| `{path.name}` |" in page


def test_the_api_page_has_every_public_name():
    page = text_of("fieldsolve/API.md")
    names = [f"fs.{name}" for name in fs.__all__ if name != "__version__" and callable(getattr(fs, name))]
    names += [f"geo.{name}" for name in geo.__all__]
    assert [name for name in names if f"\n### {name}\n" not in page] == []


def test_a_numpydoc_docstring_becomes_markdown():
    def area(radius):
        """Area of a circle.

        Parameters
        ----------
        radius : float
            Metres.

        Notes
        -----
        pi radius^2

        Examples
        --------
        >>> area(0.0)
        0.0
        """

    text = markdown(area)
    assert summary(area) == "Area of a circle."
    assert "**Parameters**\n\n- `radius` : float\n  Metres." in text
    assert "**Notes**\n\npi radius^2" in text
    assert "```python\n>>> area(0.0)\n0.0\n```" in text


def test_examples_in_docstrings_run():
    failed = attempted = 0
    for package in (geo, fs):
        for module in pkgutil.walk_packages(package.__path__, f"{package.__name__}."):
            if not module.name.endswith("__main__"):
                result = doctest.testmod(importlib.import_module(module.name))
                failed, attempted = failed + result.failed, attempted + result.attempted
    assert failed == 0


# ---- README --------------------------------------------------------------------------------------------------------------

def test_the_readme_and_the_developers_page_are_short():
    assert len(text_of("README.md").splitlines()) <= 200
    assert len(text_of("DEVELOPERS.md").splitlines()) <= 200


def test_the_ci_runs_the_readmes_two_blocks():
    ci = text_of(".ci/run")
    first, second = (block.splitlines() for block in blocks("README.md", "sh")[:2])
    for line in [line for line in first if line.startswith(".venv/bin/fieldsolve")] + second:
        words = [f'"{word.replace(".venv", "$venv")}"' if ".venv" in word else word for word in line.split()]
        assert " ".join(words).replace(" pictures", ' "$work/pictures"') in ci


def test_the_readme_names_the_system_libraries_and_every_command():
    readme = text_of("README.md")
    assert SYSTEM_LIBRARIES in readme
    commands = importlib.import_module("fieldsolve.cli.main")._parser()._subparsers._group_actions[0].choices
    assert [name for name in commands if f"`fieldsolve {name} " not in readme] == []


# ---- tables and links ----------------------------------------------------------------------------------------------------

def test_every_key_of_a_case_file_is_in_its_page():
    page = text_of("fieldsolve/cases/README.md")
    keys = {key for shape in SHAPES for key in inspect.signature(getattr(geo, shape)).parameters if key != "name"}
    keys |= {"shape", "current", "temper", "measured_resistance", *METAL_KEYS, *FIELD_KEYS, *RUN_KEYS}
    keys |= {*BANK_KEYS, *CROWBAR_KEYS, *FORMER_KEYS, *LEADS_KEYS}
    rows = "".join(line for line in page.splitlines() if line.startswith("|"))
    assert sorted(key for key in keys if f"`{key}`" not in rows) == []


def test_every_table_of_the_rig_is_in_its_page():
    from fieldsolve.cases.rig_tables import RIG_TABLES

    page = text_of("fieldsolve/rig/README.md") + text_of("fieldsolve/cases/README.md")
    for table in RIG_TABLES.values():
        missing = [field.name for field in dataclasses.fields(table) if f"`{field.name}`" not in page]
        assert missing == [], table.__name__


def test_the_case_file_shown_is_one(tmp_path):
    (tmp_path / "shown.toml").write_text(blocks("fieldsolve/cases/README.md", "toml")[0], encoding="utf-8")
    case = read_case(tmp_path / "shown.toml")
    assert [part.name for part in case.parts] == ["coil", "yoke"]
    assert case.currents == {"coil": 1000.0}


@pytest.mark.parametrize("path", DOCUMENTS, ids=lambda path: str(path.relative_to(ROOT)))
def test_links_lead_somewhere(path):
    text = path.read_text(encoding="utf-8")
    for target, anchor in re.findall(r"\]\(([^)#:]*)(?:#([^)]*))?\)", text):
        page = path if not target else (path.parent / target)
        assert page.exists(), target
        if anchor:
            assert anchor in anchors(page.read_text(encoding="utf-8")), f"{target}#{anchor}"


@pytest.mark.parametrize("path", DOCUMENTS, ids=lambda path: str(path.relative_to(ROOT)))
def test_prose_lines_are_short(path):
    if path.name in ("API.md", "MODULES.md"):
        return
    text = re.sub(r"^```.*?^```", "", path.read_text(encoding="utf-8"), flags=re.MULTILINE | re.DOTALL)
    prose = [line for line in text.splitlines() if not line.startswith(("|", "    ", "<!--", "`CuAl", "!["))]
    assert [line for line in prose if len(line) > 100] == []


def test_cases_named_in_pages_exist():
    known = {case for group in GROUPS for case in load(f"{group}.toml")}
    for page in ("fieldsolve/field/README.md", "fieldsolve/shot/README.md", "fieldsolve/motion/README.md", "benchmarks/VALIDATION.md"):
        prose = text_of(page).partition(tables.START)[0]
        named = {name for name in re.findall(r"`([a-z][a-z0-9]+(?:-[a-z0-9]+)+)`", prose) if "-" in name}
        marks = {"from-memory", "read-second-hand", "common-practice", "from-memory-confirmed-by-computation"}
        assert named - known - marks == set(), page


# ---- validation and speed ------------------------------------------------------------------------------------------------

def test_the_validation_page_has_every_case_and_none_is_out():
    table = text_of("benchmarks/VALIDATION.md").partition(tables.START)[2].partition(tables.END)[0].strip().splitlines()
    rows = [[cell.strip() for cell in row.strip("|").split("|")] for row in table[2:]]
    assert [row[0] for row in rows] == [case for group in GROUPS for case in load(f"{group}.toml")]
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


def test_the_speed_page_has_the_tables():
    text = text_of("benchmarks/SPEED.md")
    assert tables.replaced(text, "", (timing.START, timing.END)) != text
    table = text.partition(timing.START)[2].partition(timing.END)[0]
    unknowns = [int(cell.split("|")[1].replace(" ", "")) for cell in table.splitlines() if cell[2:3].isdigit()]
    assert len(unknowns) == 2 * len(timing.SIZES)
    assert unknowns[:len(timing.SIZES)] == pytest.approx(timing.SIZES, rel=0.15)
    assert "| held |" in table and "| moving |" in table
