"""Pages made from the code are fresh, tables name every key, links lead somewhere, and the CI runs what the README says."""
from __future__ import annotations

import doctest
import importlib
import inspect
import pkgutil
import re

import pytest

import fieldsolve as fs
import geometries as geo
from benchmarks import tables, timing_tables
from benchmarks.__main__ import main as run_benchmarks
from benchmarks.cases import load
from benchmarks.documents import pages
from benchmarks.documents.docstrings import markdown, summary
from benchmarks.documents.module_table import ROOT, module_page
from benchmarks.runner import GROUPS
from fieldsolve.cases.part_tables import METAL_KEYS, SHAPES
from fieldsolve.cases.table_keys import UNITS
from geometries.gmsh_session import SYSTEM_LIBRARIES

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
            if path.parent.name == "examples":                  # scripts, which their own page lists
                continue
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


class FinderBehindDecorators(doctest.DocTestFinder):
    """Takes a decorated function for one of the module that it is written in."""

    def _from_module(self, module, thing):
        return super()._from_module(module, inspect.unwrap(thing) if inspect.isfunction(thing) else thing)


def test_examples_of_decorated_functions_are_found():
    names = {test.name for test in FinderBehindDecorators(exclude_empty=True).find(importlib.import_module("geometries.coils"))}
    assert "geometries.coils.solenoid" in names


@pytest.mark.filterwarnings("ignore:Animation was deleted")           # the example of a movie writes no file here
@pytest.mark.slow
def test_examples_in_docstrings_run():
    finder, runner = FinderBehindDecorators(exclude_empty=True), doctest.DocTestRunner()
    for package in (geo, fs):
        for module in pkgutil.walk_packages(package.__path__, f"{package.__name__}."):
            if not module.name.endswith("__main__"):
                for examples in finder.find(importlib.import_module(module.name)):
                    runner.run(examples)
    assert runner.summarize().failed == 0


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
    commands = importlib.import_module("fieldsolve.cli.commands").build_parser()._subparsers._group_actions[0].choices
    assert [name for name in commands if f"`fieldsolve {name} " not in readme] == []


# ---- tables and links ----------------------------------------------------------------------------------------------------

def test_every_key_of_a_case_file_is_in_its_page():
    cases, rig = (table_rows(f"fieldsolve/{room}/README.md") for room in ("cases", "rig"))
    keys = {key for shape in SHAPES for key in inspect.signature(getattr(geo, shape)).parameters if key != "name"}
    keys |= {"shape", "current", "temper", "measured_resistance", *METAL_KEYS}
    assert sorted(key for key in keys if f"`{key}`" not in cases) == []
    for table, units in UNITS.items():
        assert f"`[{table}]`" in cases + rig + text_of("fieldsolve/cases/README.md"), table
        assert [key for key in units if f"`{key}`" not in cases + rig] == [], table


def table_rows(page: str) -> str:
    """The rows of a page's tables."""
    return "".join(line for line in text_of(page).splitlines() if line.startswith("|"))


def test_the_case_file_shown_is_one(tmp_path):
    (tmp_path / "shown.toml").write_text(blocks("fieldsolve/cases/README.md", "toml")[0], encoding="utf-8")
    case = fs.read_case(tmp_path / "shown.toml")
    assert [part.name for part in case.parts] == ["coil", "yoke"]
    assert case.currents == {"coil": 1000.0}


@pytest.mark.parametrize("path", DOCUMENTS, ids=lambda path: str(path.relative_to(ROOT)))
def test_links_lead_somewhere(path):
    text = re.sub(r"^```.*?^```", "", path.read_text(encoding="utf-8"), flags=re.MULTILINE | re.DOTALL)
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
    prose = [line for line in text.splitlines() if not line.startswith(("|", "    ", "<!--", "!["))]
    assert [line for line in prose if len(line) > 100] == []


@pytest.mark.parametrize("path", DOCUMENTS, ids=lambda path: str(path.relative_to(ROOT)))
def test_names_in_pages_exist(path):
    text = path.read_text(encoding="utf-8").partition("## Names of version 0.1")[0]
    for prefix, package in (("fs", fs), ("geo", geo)):
        names = set(re.findall(rf"\b{prefix}\.([A-Za-z_]+)", text)) - {"NAME"}
        assert [name for name in sorted(names) if not hasattr(package, name)] == []


def test_files_named_in_the_developers_page_exist():
    homes = (ROOT, ROOT / "fieldsolve", ROOT / "geometries", ROOT / "benchmarks")
    paths = {path for path in re.findall(r"`([\w./]+/[\w.]*)`", text_of("DEVELOPERS.md")) if not path.isupper()}
    assert len(paths) > 30
    assert [path for path in sorted(paths) if not any((home / path).exists() for home in homes)] == []


def test_python_in_pages_compiles():
    for path in DOCUMENTS:
        for block in re.findall(r"^```python\n(.*?)^```", path.read_text(encoding="utf-8"), re.MULTILINE | re.DOTALL):
            if path.name != "API.md":
                compile(block, str(path), "exec")


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
    assert tables.replaced(text, "", (timing_tables.START, timing_tables.END)) != text
    table = text.partition(timing_tables.START)[2].partition(timing_tables.END)[0]
    unknowns = [int(cell.split("|")[1].replace(" ", "")) for cell in table.splitlines() if cell[2:3].isdigit()]
    assert len(unknowns) == 2 * len(timing_tables.SIZES)
    assert unknowns[:len(timing_tables.SIZES)] == pytest.approx(timing_tables.SIZES, rel=0.15)
    assert "| held |" in table and "| moving |" in table


MADE_BY_FUNCTIONS = ("Part", "Zone", "Bore", "Case", "Record", "Comparison",
                     "LogEntry", "Sweep", "Design", "RadiusFromTrace", "InductanceFromTrace", "ModelCalibration",
                     "HeldOut")         # a person calls a function that makes them, and reads their attributes


def public_objects():
    """(name, object) of every public function and class, exceptions left out."""
    for package in (fs, geo):
        for name in package.__all__:
            found = getattr(package, name)
            is_exception = inspect.isclass(found) and issubclass(found, Exception)
            if callable(found) and not is_exception and name not in MADE_BY_FUNCTIONS:
                yield f"{package.__name__}.{name}", found


@pytest.mark.parametrize(("name", "found"), list(public_objects()), ids=lambda value: value if isinstance(value, str) else "")
def test_public_names_are_documented_in_sections(name, found):
    text = inspect.getdoc(found)
    takes = [parameter for parameter in inspect.signature(found).parameters if parameter != "self"]
    wanted = ["Examples"] + (["Parameters"] if takes else []) + (["Returns"] if inspect.isfunction(found) else [])
    assert [section for section in wanted if f"{section}\n---" not in text] == []
