"""The module table: one line a module, taken from its docstring, grouped by room."""
from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
PACKAGES = ("geometries", "fieldsolve", "benchmarks")
HEADER = """# Modules

Written by `python -m benchmarks documents` from the first line of each module's docstring; a test says when it is stale.
A room is a folder. Below its name stands what it is for, then a line for each module.
"""


def module_page() -> str:
    """The page: a section for each room, in the order of the tree."""
    return "\n".join([HEADER, *(_room_section(room) for package in PACKAGES for room in _rooms(ROOT / package))])


def _rooms(folder: Path) -> Iterator[Path]:
    """The folder and the rooms below it that hold modules."""
    if _modules(folder):
        yield folder
    for child in sorted(folder.iterdir()):
        if (child / "__init__.py").exists():
            yield from _rooms(child)


def _modules(folder: Path) -> list[Path]:
    return sorted(path for path in folder.glob("*.py") if path.name != "__init__.py")


def _room_section(room: Path) -> str:
    purpose = ast.get_docstring(ast.parse((room / "__init__.py").read_text(encoding="utf-8"))) or ""
    rows = "".join(f"| `{path.name}` | {first_line(path)} |\n" for path in _modules(room))
    return f"## {room.relative_to(ROOT)}\n\n{purpose}\n\n| module | purpose |\n| --- | --- |\n{rows}".replace("\n\n\n", "\n")


def first_line(path: Path) -> str:
    """First line of a module's docstring, fit for a cell of a table."""
    docstring = ast.get_docstring(ast.parse(path.read_text(encoding="utf-8"))) or ""
    return docstring.partition("\n")[0].rstrip(".").replace("|", "\\|")
