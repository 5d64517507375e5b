"""The file of a design: a case, what is free, the goal and what is required."""
from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from fieldsolve.cases.case_file import Case
from fieldsolve.cases.table_keys import check_keys
from fieldsolve.errors import InputError
from fieldsolve.rig.checks.rule import AT_LEAST, AT_MOST
from fieldsolve.sweeps.sweep_file import read_options, read_with_case, table_of

KEYS = ("case", "set", "vary", "follow", "goal", "require", "options")
GOAL_KEYS = ("largest", "smallest", "against", "limits", "runs", "seed")
OPTIONS = ("accuracy", "held", "card", "first_pass")
SENSES = {"at_most": AT_MOST, "at_least": AT_LEAST}


@dataclass(frozen=True)
class DesignFile:
    """What the file of a design says: `vary` and `keywords` as `design` takes them."""

    case: Case
    vary: Mapping[str, Any]
    keywords: Mapping[str, Any]


def read_design_file(path: str | Path) -> DesignFile:
    """The design that a TOML file describes; InputError with file, table, key and remedy."""
    return read_with_case(Path(path), "design file", KEYS, _build)


def _build(case: Case, content: Mapping[str, Any]) -> DesignFile:
    goal = table_of(content, "goal")
    check_keys("[goal]", goal, GOAL_KEYS)
    require = {name: _requirement(name, entry) for name, entry in content.get("require", {}).items()}
    follow = {key: _follow(key, entry) for key, entry in content.get("follow", {}).items()}
    if goal.get("against") == "none":
        goal = {**goal, "against": None}
    return DesignFile(case, table_of(content, "vary"), {**goal, "require": require, "follow": follow,
                                                        **read_options(content.get("options", {}), OPTIONS)})


def _requirement(name: str, entry: Any) -> tuple[str, Any]:
    if not isinstance(entry, dict) or len(entry) != 1 or next(iter(entry)) not in SENSES:
        raise InputError(f"[require] {name} = {entry!r}: give {{ at_most = 0.8 }} or {{ at_least = 0.8 }}, in SI")
    sense, value = next(iter(entry.items()))
    return SENSES[sense], value


def _follow(key: str, entry: Any) -> tuple[Any, Any]:
    if not isinstance(entry, dict) or {*entry} != {"key", "factor"}:
        raise InputError(f"[follow] {key} = {entry!r}: give {{ key = \"coil.wire_diameter\", factor = 1.1 }}")
    return entry["key"], entry["factor"]
