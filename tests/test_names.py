"""The names in the code: plain English of the trade, and one name for one thing."""
from __future__ import annotations

import ast
import re
from collections import defaultdict
from pathlib import Path

import pytest

from tests.source_tree import PACKAGES, ROOT, python_files, sources, syntax_tree

WATCHED = {                     # words with a private sense once, and what the field says
    "asked": "requested, or the verb of what is done", "told": "given, prescribed, reported", "stated": "bound, reported",
    "headline": "goal", "warmth": "temperature", "usual": "default, typical", "doubted": "uncertain", "judged": "evaluated",
    "course": "history, kinematics",
}
PLOTS = ("plot_body", "plot_current", "plot_currents", "plot_energy", "plot_force", "plot_inductance", "plot_map", "plot_metal",
              "plot_probes", "plot_sections", "plot_shape", "plot_temperature", "plot_axis", "plot_impedance", "plot_line", "plot_mesh",
         "plot_radius", "plot_dimensions", "plot_blank", "animate")
TWINS: dict[str, str] = dict.fromkeys(PLOTS, "a method of a result and the function of the report that it calls")    # public names


def words(name: str) -> set[str]:
    """The words of a name in lower case, split at underscores and where the case changes.

    >>> sorted(words("_PrescribedMotion_at_RZ2"))
    ['2', 'at', 'motion', 'prescribed', 'rz']
    """
    return {part.lower() for part in re.findall(r"[A-Z]+(?![a-z])|[A-Z]?[a-z]+|\d+", name)}


def names_in(tree: ast.Module) -> set[str]:
    """Every name that a source defines or uses: functions, classes, arguments, attributes, variables, imports."""
    nodes = [*ast.walk(tree)]
    found = {node.name for node in nodes if isinstance(node, ast.FunctionDef | ast.ClassDef)}
    found |= {node.arg for node in nodes if isinstance(node, ast.arg | ast.keyword) and node.arg}
    found |= {node.id for node in nodes if isinstance(node, ast.Name)}
    found |= {node.attr for node in nodes if isinstance(node, ast.Attribute)}
    return found | {name for node in nodes if isinstance(node, ast.alias) for name in (node.name, node.asname) if name}


def watched(names) -> dict[str, str]:
    """Those of the names that hold a watched word, and what to say in its place."""
    return {name: "; ".join(WATCHED[word] for word in sorted(words(name) & set(WATCHED))) for name in names if words(name) & set(WATCHED)}


def test_names_are_the_fields_own():
    for path in python_files(*PACKAGES, "benchmarks", "tests"):
        own = path.relative_to(ROOT).with_suffix("").parts
        assert watched({*own, *names_in(syntax_tree(path))}) == {}, path


@pytest.mark.parametrize("line", ["def stated_error(): pass", "class AskedMotion: pass", "def f(usual): pass", "shot.course = 1",
                                  "told = 2", "f(headline=3)", "from fieldsolve import warmth"])
def test_a_watched_word_is_found(line):
    assert len(watched(names_in(ast.parse(line)))) == 1


def test_a_word_within_another_is_no_matter():
    assert watched(names_in(ast.parse("unusual = coursework = masked"))) == {}


def public_definitions(path: Path) -> list[str]:
    """Public functions and classes that a module defines."""
    return [node.name for node in syntax_tree(path).body
            if isinstance(node, ast.FunctionDef | ast.ClassDef) and not node.name.startswith("_")]


def test_no_two_functions_or_classes_of_one_name():
    homes = defaultdict(list)
    for module, path in sources().items():
        for name in {*public_definitions(path)}:                   # an overloaded function is defined several times
            homes[name].append(module)
    assert {name: modules for name, modules in homes.items() if len(modules) > 1 and name not in TWINS} == {}
    assert [name for name in TWINS if len(homes[name]) < 2] == [], "no twins any more: take them out of TWINS"
