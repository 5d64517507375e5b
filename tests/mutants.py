"""Mutants: one operator, comparison, constant or statement of a formula is changed, and a test of its room has to fail.

`python -m tests.mutants COUNT [SEED]` tries a random sample in a copy of the checkout, and prints each that no test noticed.

Left out of what is drawn from, because no result can depend on it: docstrings, annotations, imports, `__all__`, the alias of a type (a
capitalized name of a module), and the exchange of `<` and `<=`, or `>` and `>=`, where one side is a tolerance or rounding.  Other
mutants that change nothing are drawn, and count as survivors.
"""
from __future__ import annotations

import ast
import copy
import os
import random
import shutil
import signal
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

from tests.source_tree import ROOT

ROOMS = {           # sources -> arguments of pytest: the tests that hold them, none that takes more than some seconds
    "fieldsolve/ode": ["tests/ode", "-k", "not held and not shot"],
    "fieldsolve/rig/formulas": ["tests/rig/test_formulas.py", "tests/rig/test_card.py", "-k", "not empty_inductance"],
    "fieldsolve/circuit": ["tests/circuit"],
}
OPERATORS = {ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult, ast.Pow: ast.Mult, ast.Mod: ast.Mult,
             ast.MatMult: ast.Mult}
COMPARISONS = {ast.Lt: ast.LtE, ast.LtE: ast.Lt, ast.Gt: ast.GtE, ast.GtE: ast.Gt, ast.Eq: ast.NotEq, ast.NotEq: ast.Eq,
               ast.Is: ast.IsNot, ast.IsNot: ast.Is, ast.In: ast.NotIn, ast.NotIn: ast.In}
ORDERS = (ast.Lt, ast.LtE, ast.Gt, ast.GtE)
MOST_SECONDS = 30           # of processor time: a mutant that takes longer is noticed


def mutants(tree: ast.Module) -> Iterator[tuple[int, str, ast.Module]]:
    """Line, what is changed, and the changed tree."""
    skipped = {each for statement in tree.body if _is_idle(statement) for each in ast.walk(statement)}
    for number, node in enumerate(ast.walk(tree)):
        for change in [] if node in skipped else _changes(node):
            changed = copy.deepcopy(tree)
            same = next(each for k, each in enumerate(ast.walk(changed)) if k == number)
            what = change(same)
            if what:
                yield node.lineno, what, ast.fix_missing_locations(changed)


def _is_idle(statement: ast.stmt) -> bool:
    """Whether a statement of a module assigns `__all__` or the alias of a type."""
    names = [target.id for target in statement.targets if isinstance(target, ast.Name)] if isinstance(statement, ast.Assign) else []
    return any(name == "__all__" or (name[0].isupper() and not name.isupper()) for name in names)


def _is_at_rounding(node: ast.Compare) -> bool:
    """Whether a comparison is with a tolerance, where that of equals does not matter."""
    words = [each.id.lower() for each in ast.walk(node) if isinstance(each, ast.Name)]
    numbers = [each.value for each in ast.walk(node) if isinstance(each, ast.Constant) and isinstance(each.value, float)]
    return any("rounding" in word or "tolerance" in word for word in words) or any(0 < number < 1e-6 for number in numbers)


def _changes(node: ast.AST) -> list:
    """Functions that change a node of this kind in place and say what they did."""
    if isinstance(node, ast.BinOp) and type(node.op) in OPERATORS:
        return [_swap_operator]
    if isinstance(node, ast.Compare) and type(node.ops[0]) in COMPARISONS:
        return [] if isinstance(node.ops[0], ORDERS) and _is_at_rounding(node) else [_swap_comparison]
    if isinstance(node, ast.BoolOp):
        return [_swap_bool]
    if isinstance(node, ast.Constant) and type(node.value) in (int, float):
        return [_change_constant]
    if isinstance(node, (ast.If, ast.IfExp, ast.While)):
        return [_negate]
    return [_drop] if isinstance(node, (ast.Assign, ast.AugAssign, ast.Raise)) else []


def _swap_operator(node: ast.BinOp) -> str:
    before, node.op = ast.unparse(node), OPERATORS[type(node.op)]()
    return f"{before} -> {ast.unparse(node)}"


def _swap_comparison(node: ast.Compare) -> str:
    before, node.ops[0] = ast.unparse(node), COMPARISONS[type(node.ops[0])]()
    return f"{before} -> {ast.unparse(node)}"


def _swap_bool(node: ast.BoolOp) -> str:
    before, node.op = ast.unparse(node), ast.Or() if isinstance(node.op, ast.And) else ast.And()
    return f"{before} -> {ast.unparse(node)}"


def _change_constant(node: ast.Constant) -> str:
    before = node.value
    node.value = before + 1 if isinstance(before, int) else before * 1.1 if before else 1.0
    return f"{before} -> {node.value}"


def _negate(node: ast.If) -> str:
    before, node.test = ast.unparse(node.test), ast.UnaryOp(ast.Not(), node.test)
    return f"if {before} -> if not ({before})"


def _drop(node: ast.stmt) -> str:
    before = ast.unparse(node).splitlines()[0]
    node.__class__, node._fields = ast.Pass, ()
    return f"dropped: {before}"


def sample(count: int, seed: int) -> list[tuple[str, str, int, str, str]]:
    """Room, file, line, change and source of `count` random mutants of functions and module constants."""
    found = [(room, path.relative_to(ROOT).as_posix(), line, what, ast.unparse(tree))
             for room in ROOMS for path in sorted((ROOT / room).glob("*.py"))
             for line, what, tree in mutants(ast.parse(path.read_text(encoding="utf-8")))]
    return random.Random(seed).sample(found, min(count, len(found)))


def is_noticed(folder: Path, room: str, name: str, source: str) -> bool:
    """Whether a test of the room fails with a changed source in a copy of the checkout."""
    path = folder / name
    original = path.read_bytes()
    path.write_text(source, encoding="utf-8")
    try:
        process = os.fork()
        if process == 0:
            os._exit(_run_tests(folder, ROOMS[room]))
        return os.waitpid(process, 0)[1] != 0
    finally:
        path.write_bytes(original)
        os.utime(path)


def _run_tests(folder: Path, arguments: list[str]) -> int:
    """In a process of its own: 0 where all tests pass."""
    import resource

    import pytest

    resource.setrlimit(resource.RLIMIT_CPU, (MOST_SECONDS, MOST_SECONDS))
    signal.alarm(20 * MOST_SECONDS)
    os.chdir(folder)
    sys.path.insert(0, str(folder))
    sys.dont_write_bytecode = True
    os.environ["PYTEST_DISABLE_PLUGIN_AUTOLOAD"] = "1"
    for name in [name for name in sys.modules if name.split(".")[0] in ("tests", "fieldsolve", "geometries", "benchmarks")]:
        del sys.modules[name]
    null = os.open(os.devnull, os.O_WRONLY)
    os.dup2(null, 1)
    os.dup2(null, 2)
    return int(pytest.main(["-x", "-q", "-p", "no:cacheprovider", "--assert=plain", "-W", "ignore", *arguments]))


def main(count: int, seed: int = 1) -> int:
    """Try mutants; print those that no test noticed, and the share of those that one did."""
    import matplotlib.pyplot  # noqa: F401
    import numpy  # noqa: F401  (loaded once, before the processes part)
    import pytest  # noqa: F401
    import scipy.integrate  # noqa: F401

    with tempfile.TemporaryDirectory() as name:
        folder = Path(name) / "checkout"
        shutil.copytree(ROOT, folder, ignore=shutil.ignore_patterns(".git", "out", "*.log"))
        for room in ROOMS:
            assert _passes(folder, room), f"the tests of {room} fail without any change"
        noticed = 0
        for number, (room, path, line, what, source) in enumerate(sample(count, seed), start=1):
            started, killed = time.monotonic(), is_noticed(folder, room, path, source)
            noticed += killed
            print(f"{number} {'noticed' if killed else 'SURVIVED'} {path}:{line}: {what} ({time.monotonic() - started:.0f} s; "
                  f"{noticed} of {number} noticed)", flush=True)
    return 0


def _passes(folder: Path, room: str) -> bool:
    name = next(path for path in sorted((ROOT / room).glob("*.py"))).relative_to(ROOT).as_posix()
    return not is_noticed(folder, room, name, (ROOT / name).read_text(encoding="utf-8"))


if __name__ == "__main__":
    sys.exit(main(*map(int, sys.argv[1:])))
