"""Tables inside written pages that are made from the code: shapes, metals and limits, each between two markers."""
from __future__ import annotations

import inspect
from collections.abc import Callable, Mapping

import fieldsolve as fs
import geometries
from benchmarks import tables
from benchmarks.documents.module_table import ROOT
from fieldsolve.cases.part_tables import SHAPES
from fieldsolve.rig.card import RULES

COMMAND = "written by `python -m benchmarks documents`"


def shape_table() -> str:
    """A row a shape: the keys it needs, and those it may have."""
    rows = ["| shape | keys needed | other keys |", "| --- | --- | --- |"]
    for shape in SHAPES:
        parameters = [p for p in inspect.signature(getattr(geometries, shape)).parameters.values() if p.name != "name"]
        needed = [f"`{p.name}`" for p in parameters if p.default is p.empty]
        others = [f"`{p.name}`" for p in parameters if p.default is not p.empty]
        rows.append(f"| `{shape}` | {', '.join(needed)} | {', '.join(others)} |")
    return "\n".join(rows) + "\n"


def metal_table() -> str:
    """A row a metal: its name, and the other names it answers to."""
    rows = ["| metal | also called |", "| --- | --- |"]
    for name in fs.material_names():
        others = [f"`{alias}`" for alias in fs.material_data(name).get("aliases", [])]
        rows.append(f"| `{name}` | {', '.join(others)} |")
    return "\n".join(rows) + "\n"


def limit_table() -> str:
    """A row a check of the card: its name, what is limited, the default, and whether it is a hard stop."""
    rows = ["| name | quantity | default limit | kind |", "| --- | --- | --- | --- |"]
    for rule in RULES:
        limit = "true" if rule.limit is True else f"{rule.sense} {rule.limit:g} {rule.unit}".strip()
        rows.append(f"| `{rule.name}` | {rule.quantity} | {limit} | {'hard stop' if rule.hard else 'warning'} |")
    return "\n".join(rows) + "\n"


TABLES: Mapping[str, tuple[str, Callable[[], str]]] = {
    "shapes": ("fieldsolve/cases/README.md", shape_table),
    "metals": ("fieldsolve/cases/README.md", metal_table),
    "limits": ("fieldsolve/rig/README.md", limit_table),
}


def page_with_tables(page: str) -> str:
    """The page's text with all its tables as the code makes them now."""
    text = (ROOT / page).read_text(encoding="utf-8")
    for subject, (home, table) in TABLES.items():
        if home == page:
            text = tables.replaced(text, table(), (f"<!-- {subject}: {COMMAND} -->", f"<!-- end of the {subject} -->"))
    return text
