"""The API page: every public name with its signature and docstring, and the names of earlier versions."""
from __future__ import annotations

import importlib
import inspect
from collections.abc import Callable, Iterable, Iterator
from itertools import groupby

import fieldsolve as fs
import geometries as geo
from benchmarks.documents import docstrings
from benchmarks.documents.module_table import ROOT, first_line
from benchmarks.documents.renamed import renamed_rows

HEADER = """# API

Written by `python -m benchmarks documents` from the docstrings; a test says when it is stale.
`fs` is `fieldsolve`, `geo` is `geometries`. Everything is in SI: metres, seconds, amperes, tesla, kelvin.
"""
RESULTS = (                         # what the functions of `fs` return, in the order of the page
    "fieldsolve.field.static.solve.StaticField",
    "fieldsolve.field.harmonic.field.HarmonicField",
    "fieldsolve.field.harmonic.field.HarmonicSweep",
    "fieldsolve.field.transient.solve.Transient",
    "fieldsolve.field.transient.field.ShotField",
    "fieldsolve.shot.result.shot.Shot",
    "fieldsolve.shot.result.energy_balance.EnergyBalance",
    "fieldsolve.shot.reduced.model.ReducedModel",
    "fieldsolve.shot.reduced.result.ReducedShot",
    "fieldsolve.shot.result.metal_history.MetalMap",
)
FORMULAS = "fieldsolve/rig/formulas"


def api_page() -> str:
    """The page."""
    sections = [
        ("Parts and sections: `geo`", _entries("geo", _public(geo))),
        *((f"{title}: `fs`", _entries("fs", names)) for title, names in _fieldsolve_rooms()),
        ("Results", map(_class_entry, map(_located, RESULTS))),
        ("Formulas of the workshop: `fieldsolve.rig.formulas`", [_formula_table()]),
        ("Names of version 0.1", [_renamed_table()]),
    ]
    contents = "\n".join(f"- [{title}](#{_anchor(title)})" for title, _ in sections)
    bodies = [f"## {title}\n\n" + "\n\n".join(entries) for title, entries in sections]
    return "\n\n".join([HEADER + "\n" + contents, *bodies]) + "\n"


def _anchor(title: str) -> str:
    kept = "".join(c for c in title.lower() if c.isalnum() or c in " -_")
    return kept.replace(" ", "-")


def _public(package) -> list[tuple[str, object]]:
    return [(name, getattr(package, name)) for name in package.__all__ if not name.startswith("_")]


def _fieldsolve_rooms() -> Iterator[tuple[str, list[tuple[str, object]]]]:
    """The public names of `fieldsolve` by the room that holds them, in the order of its table."""
    things = [(name, thing) for name, thing in _public(fs) if callable(thing)]
    rooms = list(dict.fromkeys(_room(thing) for _, thing in things))
    ordered = sorted(things, key=lambda pair: rooms.index(_room(pair[1])))
    for room, group in groupby(ordered, key=lambda pair: _room(pair[1])):
        yield room, list(group)


def _room(thing: object) -> str:
    return thing.__module__.split(".")[1].capitalize()


def _located(path: str) -> type:
    module, _, name = path.rpartition(".")
    return getattr(importlib.import_module(module), name)


def _entries(prefix: str, things: Iterable[tuple[str, object]]) -> Iterator[str]:
    for name, thing in things:
        yield _class_entry(thing, f"{prefix}.") if inspect.isclass(thing) else _function_entry(thing, f"{prefix}.{name}")


def _function_entry(function: Callable, title: str) -> str:
    return f"### {title}\n\n```python\n{_signature(function, title)}\n```\n\n{docstrings.markdown(function)}"


def _class_entry(kind: type, prefix: str = "") -> str:
    title = f"{prefix}{kind.__name__}"
    constructor = f"```python\n{_signature(kind, title)}\n```\n\n" if prefix else ""
    members = "".join(f"| {_member_call(name, member)} | {_cell(member)} |\n" for name, member in _members(kind))
    table = f"\n\n| member | what it gives |\n| --- | --- |\n{members.rstrip()}" if members else ""
    details = "".join(f"\n\n#### {kind.__name__}.{name}{_parameters(member, without_self=True)}\n\n{docstrings.markdown(member)}"
                      for name, member in _members(kind) if inspect.isfunction(member) and docstrings.has_sections(member))
    return f"### {title}\n\n{constructor}{docstrings.markdown(kind)}{table}{details}"


def _members(kind: type) -> Iterator[tuple[str, object]]:
    """Documented public methods and properties that the class itself defines, in the order of its source."""
    for name, member in vars(kind).items():
        is_member = callable(member) or hasattr(member, "fget") or hasattr(member, "func")
        if is_member and not name.startswith("_") and inspect.getdoc(getattr(member, "func", member)):
            yield name, member


def _member_call(name: str, member: object) -> str:
    if not inspect.isfunction(member):
        return f"`.{name}`"
    return f"`.{name}{_parameters(member, without_self=True)}`".replace("|", "\\|")


def _cell(member: object) -> str:
    return docstrings.summary(getattr(member, "func", member)).replace("|", "\\|")


def _signature(thing: Callable, title: str) -> str:
    """The call, one parameter a line where it is long."""
    text = f"{title}{_parameters(thing)}"
    if len(text) <= 100:
        return text
    return f"{title}(\n    " + ",\n    ".join(_parameter_texts(thing)) + ",\n)"


def _parameters(thing: Callable, without_self: bool = False) -> str:
    texts = _parameter_texts(thing)
    return f"({', '.join(texts[1:] if without_self else texts)})"


def _parameter_texts(thing: Callable) -> list[str]:
    """Each parameter with its default, without annotations; `*` where keywords begin."""
    try:
        parameters = inspect.signature(thing).parameters.values()
    except ValueError:                      # a type built in C
        return []
    texts, keyword_only = [], False
    for parameter in parameters:
        if parameter.kind is parameter.KEYWORD_ONLY and not keyword_only:
            texts.append("*")
            keyword_only = True
        texts.append(str(parameter.replace(annotation=parameter.empty)))
    return texts


def _formula_table() -> str:
    rows = [f"| `{path.stem}` | {first_line(path)} |" for path in sorted((ROOT / FORMULAS).glob("[!_]*.py"))]
    return "Each is a function of SI numbers; `help(\"fieldsolve.rig.formulas.gap\")` prints the module.\n\n" \
           "| module | what it computes |\n| --- | --- |\n" + "\n".join(rows)


def _renamed_table() -> str:
    """Names of 0.1 beside those of today."""
    rows = [f"| `{old}` | `{new}` |" for old, new in renamed_rows()]
    return "An old name raises an error that says the new one.\n\n| 0.1 | since 0.2 |\n| --- | --- |\n" + "\n".join(rows)
