"""The source files as the tests of the house rules see them: modules by name, and the rooms they stand in."""
from __future__ import annotations

import ast
from functools import cache
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
PACKAGES = ("geometries", "fieldsolve")                      # what is installed


def module_name(path: Path) -> str:
    """Full name of a module, or of a package by its __init__.py."""
    parts = path.relative_to(ROOT).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


@cache
def sources() -> dict[str, Path]:
    """Path of every installed module by its name."""
    return {module_name(path): path for path in python_files(*PACKAGES)}


def python_files(*folders: str) -> list[Path]:
    """Every Python file in these folders of the repository."""
    return [path for folder in folders for path in sorted((ROOT / folder).rglob("*.py"))]


@cache
def syntax_tree(path: Path) -> ast.Module:
    """A file's source as parsed, which is not to be changed."""
    return ast.parse(path.read_text(encoding="utf-8"))


@cache
def rooms() -> frozenset[str]:
    """Names of all installed packages."""
    return frozenset(name for name, path in sources().items() if path.name == "__init__.py")


def within(module: str, package: str) -> bool:
    """Whether a module is this package or stands in it."""
    return module == package or module.startswith(package + ".")
