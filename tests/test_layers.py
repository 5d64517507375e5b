"""The house rules: imports run one way, heavy packages stay where they belong, rooms and modules stay small and say what they are."""
from __future__ import annotations

import ast
import re
import subprocess
import sys
from functools import cache
from graphlib import CycleError, TopologicalSorter

import pytest

import fieldsolve
from tests.source_tree import PACKAGES, ROOT, module_name, python_files, rooms, sources, syntax_tree, within

FLOORS = (                                                   # from below; a module imports from its own floor and from those below
    ("geometries",),
    ("fieldsolve.bounds", "fieldsolve.caution", "fieldsolve.constants", "fieldsolve.errors", "fieldsolve.estimate", "fieldsolve.files",
     "fieldsolve.pickling", "fieldsolve.renamed", "fieldsolve.screen", "fieldsolve.skin", "fieldsolve.units",
     "fieldsolve.version"),
    ("fieldsolve.materials",),
    ("fieldsolve.circuit", "fieldsolve.ode"),
    ("fieldsolve.field.drawings", "fieldsolve.field.linear_algebra"),
    ("fieldsolve.field.fem",),
    ("fieldsolve.field.system",),
    ("fieldsolve.field.nonlinear", "fieldsolve.field.quantities", "fieldsolve.field.adaptivity"),
    ("fieldsolve.field.static",),
    ("fieldsolve.field.harmonic",),
    ("fieldsolve.field.transient", "fieldsolve.field.reduced"),
    ("fieldsolve.field",),
    ("fieldsolve.motion.constitutive", "fieldsolve.motion.contract", "fieldsolve.motion.interval", "fieldsolve.motion.rigid"),
    ("fieldsolve.motion.moving_mesh", "fieldsolve.motion.plastic_flow", "fieldsolve.motion.hoops"),
    ("fieldsolve.motion",),
    ("fieldsolve.shot.history", "fieldsolve.shot.instant", "fieldsolve.shot.kept", "fieldsolve.shot.problem"),
    ("fieldsolve.shot.integrator",),
    ("fieldsolve.shot.network",),
    ("fieldsolve.shot.display",),
    ("fieldsolve.shot.observables", "fieldsolve.shot.result"),
    ("fieldsolve.shot",),
    ("fieldsolve.rig.entries", "fieldsolve.rig.source", "fieldsolve.rig.tables"),
    ("fieldsolve.rig.formulas",),
    ("fieldsolve.rig.coil", "fieldsolve.rig.rig", "fieldsolve.rig.from_shot", "fieldsolve.rig.card_inputs"),
    ("fieldsolve.rig.checks",),
    ("fieldsolve.rig.quantities",),
    ("fieldsolve.rig",),
    ("fieldsolve.cases",),
    ("fieldsolve.records.record",),
    ("fieldsolve.records.reading",),
    ("fieldsolve.records.ringdown",),
    ("fieldsolve.records",),
    ("fieldsolve.inference", "fieldsolve.propagation"),
    ("fieldsolve.sweeps",),
    ("fieldsolve.report.display_units",),
    ("fieldsolve.report.sampling", "fieldsolve.report.files", "fieldsolve.report.text"),
    ("fieldsolve.report.plots",),
    ("fieldsolve.report.animation", "fieldsolve.report.blank"),
    ("fieldsolve.report.sheet",),
    ("fieldsolve.report",),
    ("fieldsolve.cli", "fieldsolve.__main__", "fieldsolve"),
)
ONLY_IN = {                                                  # the modules or packages that may import a foreign one
    "gmsh": ("geometries.gmsh_session",),
    "pint": ("fieldsolve.units",),
    "cvxopt": ("fieldsolve.field.linear_algebra.cholesky",),
    "skfem": ("fieldsolve.field",),
    "matplotlib": ("fieldsolve.report", "geometries.plot"),
    "meshio": ("fieldsolve.report",),
    "jinja2": ("fieldsolve.report",),
    "tqdm": ("fieldsolve.cli.progress",),
    "RigolWFM": ("fieldsolve.records.reading.waveform_file",),
    "loky": ("fieldsolve.sweeps.executors",),
    "distributed": ("fieldsolve.sweeps.executors",),
    "xarray": ("fieldsolve.sweeps.tables",),
}
LAZY = ("scipy", "matplotlib", "gmsh", "skfem", "pint", "shapely", "cvxopt", "meshio", "jinja2", "tqdm",
        "RigolWFM", "loky", "distributed", "pandas", "xarray")                     # not loaded with the packages
MOST_MODULES = 14                                            # of fieldsolve in one room
MOST_LINES, MOST_LINES_OF_A_FUNCTION = 300, 60
DRAWS = re.compile(r"plot|plot_\w+|animate|_repr_html_")     # methods that may fetch the report when they are called
SAYS_NOTHING = ("utils", "util", "helpers", "helper", "common", "manager", "base", "misc")
TOP_LEVEL = ("benchmarks", "fieldsolve", "geometries", "tests", "DEVELOPERS.md", "LICENSE", "README.md", "pyproject.toml")


@cache
def imports_of(module: str) -> frozenset[str]:
    """Everything a module imports anywhere in its source, in functions too."""
    return frozenset(imported(syntax_tree(sources()[module]), module, sources()))


def imported(tree: ast.Module, module: str, known) -> set[str]:
    """Full names of the modules that a source imports, but for what a method that draws fetches from `fieldsolve.report` when called."""
    drawing = {node for method in ast.walk(tree) if isinstance(method, ast.FunctionDef) and DRAWS.fullmatch(method.name)
               for node in ast.walk(method) if isinstance(node, ast.ImportFrom) and within(node.module, "fieldsolve.report")}
    found = set()
    for node in set(ast.walk(tree)) - drawing:
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            assert not node.level, f"{module}, line {node.lineno}: write the import from the package's root"
            full_names = {f"{node.module}.{alias.name}" for alias in node.names}
            found |= {name if name in known else node.module for name in full_names}
        elif isinstance(node, ast.Call) and getattr(node.func, "attr", getattr(node.func, "id", "")) in ("import_module", "__import__"):
            found |= {node.args[0].value} if isinstance(node.args[0], ast.Constant) else set()
    return found


def floor_of(module: str) -> int:
    """Number of the module's floor: of the longest name in FLOORS that it stands within; a new room has none until it is put there."""
    found = {name: number for number, names in enumerate(FLOORS) for name in names
             if (module == name if name == "fieldsolve" else within(module, name))}
    assert found, f"{module} stands on no floor: put it on one in FLOORS"
    return found[max(found, key=len)]


def upward(module: str, names) -> list[str]:
    """Those of the imported `names` that stand above the module, or outside the installed packages."""
    imported_names = [name for name in names if name.split(".")[0] in (*PACKAGES, "benchmarks", "tests")]
    return [name for name in imported_names if name.split(".")[0] not in PACKAGES or floor_of(name) > floor_of(module)]


def test_imports_run_downward():
    assert {module: found for module in sources() if (found := upward(module, imports_of(module)))} == {}


@pytest.mark.parametrize(("module", "line"), [
    ("fieldsolve.field.static.solve", "from fieldsolve.report import field_sheet"),
    ("geometries.fit", "import fieldsolve.errors"),
    ("fieldsolve.field.static.solve", "import fieldsolve"),
    ("fieldsolve.materials.material", "def f():\n    from fieldsolve.field.static.solve import solve_static"),
    ("fieldsolve.field.system.magnetostatic", "import importlib\nimportlib.import_module('fieldsolve.shot.integrator.discharge')"),
    ("fieldsolve.field.system.magnetostatic", "from benchmarks.closed_forms import loops"),
    ("fieldsolve.shot.solve", "from fieldsolve.report.plots.shot import plot_current"),
    ("fieldsolve.shot.solve", "def draw(self):\n    from fieldsolve.report.plots.shot import plot_current"),
    ("fieldsolve.shot.solve", "def plot_current(self):\n    from fieldsolve.cli.shot import run_shot"),
])
def test_an_upward_import_is_found(module, line):
    assert len(upward(module, imported(ast.parse(line), module, sources()))) == 1


@pytest.mark.parametrize("method", ["plot", "plot_current", "animate", "_repr_html_"])
def test_a_method_that_draws_may_fetch_the_report(method):
    line = f"def {method}(self):\n    from fieldsolve.report.plots.shot import plot_current"
    assert upward("fieldsolve.shot.solve", imported(ast.parse(line), "fieldsolve.shot.solve", sources())) == []


def test_no_module_imports_itself_by_a_detour():
    graph = {module: {name for name in imports_of(module) if name in sources() and name != module} for module in sources()}
    try:
        TopologicalSorter(graph).prepare()
    except CycleError as cycle:
        pytest.fail(f"imports run in a circle: {' -> '.join(cycle.args[1])}")


def nodes_of_rooms() -> dict[str, str]:
    """For each module the room it stands in; where a room has rooms of its own beside modules, as on FLOORS, the module itself."""
    mixed = {room.rpartition(".")[0] for room in rooms()}
    return {module: module if module in rooms() or (room := module.rpartition(".")[0]) in mixed else room for module in sources()}


def test_no_room_imports_itself_by_a_detour():
    node_of = nodes_of_rooms()
    graph = {node: set() for node in node_of.values()}
    for module, node in node_of.items():
        graph[node] |= {node_of[name] for name in imports_of(module) if name in node_of} - {node}
    try:
        TopologicalSorter(graph).prepare()
    except CycleError as cycle:
        pytest.fail(f"rooms import each other: {' -> '.join(cycle.args[1])}")


@pytest.mark.parametrize(("foreign", "homes"), ONLY_IN.items())
def test_foreign_packages_stay_in_their_home(foreign, homes):
    users = {module for module in sources() if any(within(name, foreign) for name in imports_of(module))}
    assert {module for module in users if not any(within(module, home) for home in homes)} == set()


@pytest.mark.parametrize("statement", ["import fieldsolve, geometries", "import fieldsolve.cli.main"])
def test_importing_loads_nothing_heavy(statement):
    report = f"{statement}, sys; print(*[name for name in {LAZY!r} if name in sys.modules])"
    loaded = subprocess.run([sys.executable, "-c", report], cwd=ROOT, capture_output=True, text=True, check=True).stdout
    assert loaded.split() == []


def test_every_public_name_is_there():
    for name in fieldsolve.__all__:
        assert getattr(fieldsolve, name) is not None
    assert all(home in sources() for home in fieldsolve._HOMES.values())


def test_modules_are_short_and_say_what_they_are():
    for path in python_files(*PACKAGES, "benchmarks"):
        lines = path.read_text(encoding="utf-8").splitlines()
        assert len(lines) <= MOST_LINES, path
        assert path.stem not in SAYS_NOTHING, path
        assert lines and lines[0].startswith('"""'), f"{path}: the first line says the module's one purpose"


def lines_of_code(function: ast.FunctionDef) -> int:
    """Lines of a function from its name on, its docstring left out."""
    first = function.body[0]
    is_docstring = isinstance(first, ast.Expr) and isinstance(first.value, ast.Constant) and isinstance(first.value.value, str)
    docstring = first.end_lineno - first.lineno + 1 if is_docstring else 0
    return function.end_lineno - function.lineno + 1 - docstring


def test_functions_are_short():
    functions = [(module_name(path), node) for path in python_files(*PACKAGES, "benchmarks", "tests")
                 for node in ast.walk(syntax_tree(path)) if isinstance(node, ast.FunctionDef)]
    assert [(module, node.name) for module, node in functions if lines_of_code(node) > MOST_LINES_OF_A_FUNCTION] == []


def test_a_room_is_small_and_says_what_it_is_for():
    for room in rooms():
        modules = [path for path in sources()[room].parent.glob("*.py") if path.stem != "__init__"]
        assert len(modules) <= MOST_MODULES or room == "geometries", room
        sign = ast.get_docstring(syntax_tree(sources()[room])) or ""
        assert len(sign) > 100, f"{room}: __init__.py says in one paragraph what the room is for"


def test_top_level_holds_only_what_it_should():
    if not (ROOT / ".git").exists():
        pytest.skip("not a git checkout")
    files = subprocess.run(["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=True).stdout.splitlines()
    top = {name.split("/")[0] for name in files}
    assert {name for name in top if not name.startswith(".")} - set(TOP_LEVEL) == set()
