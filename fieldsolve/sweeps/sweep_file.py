"""The file of a sweep: a case, the values that change, how runs are computed, and what is drawn."""
from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from fieldsolve.bounds import check_accuracy
from fieldsolve.cases.case_file import Case, read_case
from fieldsolve.cases.table_keys import check_keys
from fieldsolve.errors import FieldError, InputError
from fieldsolve.files.toml_reading import parse_toml, read_toml_text
from fieldsolve.rig.entries import check_boolean
from fieldsolve.sweeps.points import Samples, spaced_values
from fieldsolve.units import parse_quantity

OPTIONS = ("accuracy", "held", "error_bounds", "card", "keep_shots")        # keywords of `sweep`
KEYS = ("case", "set", "over", "together", "samples", "options", "plot")
PLOTS = {"curves": ("quantity", "x", "family"), "map": ("quantity", "x", "y"), "trade-off": ("x", "y")}


@dataclass(frozen=True)
class SweepFile:
    """What the file of a sweep says.

    over     as `sweep` takes it
    options  keywords of `sweep`
    plots    (kind, keywords of the plot) of each [[plot]]
    """

    case: Case
    over: Any
    options: Mapping[str, Any]
    plots: tuple[tuple[str, Mapping[str, str]], ...]


def read_sweep_file(path: str | Path) -> SweepFile:
    """The sweep that a TOML file describes; InputError with file, table, key and remedy."""
    def build(case: Case, content: Mapping[str, Any]) -> SweepFile:
        plots = tuple(_plot(entry) for entry in _entries(content, "plot"))
        return SweepFile(case, _over(content), read_options(content.get("options", {}), OPTIONS), plots)
    return read_with_case(Path(path), "sweep file", KEYS, build)


def read_with_case(path: Path, kind: str, keys: Iterable[str], build):
    """What `build(case, content)` makes of a file whose `case` names a case file, from its own folder, with the changes of [set]."""
    try:
        content = parse_toml(read_toml_text(path, kind))
        check_keys(kind, content, keys)
        if not isinstance(content.get("case"), str):
            raise InputError(f"case is missing: a {kind} names its case file first, as case = \"rig.toml\", from its own folder")
        case = read_case(path.parent / content["case"])
        return build(case.with_values(table_of(content, "set")) if content.get("set") else case, content)
    except FieldError as error:
        raise type(error)(str(error) if str(error).startswith(("no such", kind)) else f"{path.name}: {error}") from error


def table_of(content: Mapping[str, Any], name: str) -> dict[str, Any]:
    """A table of a file, keys with dots as they are written in quotes; empty where there is none."""
    table = content.get(name, {})
    if not isinstance(table, dict):
        raise InputError(f"{name} = {table!r}: must be a table, [{name}]")
    for key, value in table.items():
        if isinstance(value, dict) and not {*value} <= {"from", "to", "count"}:
            raise InputError(f"[{name}] {key}: write keys of a case in quotes, such as \"{key}.{next(iter(value), 'key')}\"")
    return table


def read_options(table: Mapping[str, Any], known: Iterable[str]) -> dict[str, Any]:
    """The entries of [options], checked."""
    check_keys("[options]", dict(table), known)
    return {key: check_accuracy(parse_quantity(value, "", "[options] accuracy"), "[options] accuracy") if key == "accuracy"
            else check_boolean(f"[options] {key}", value) for key, value in table.items()}


def _over(content: Mapping[str, Any]) -> Any:
    samples, over = content.get("samples"), table_of(content, "over")
    together = _entries(content, "together")
    if samples is not None:
        if over or together:
            raise InputError("[samples] and [over] are both given; give one of them")
        check_keys("[samples]", samples, ("between", "count", "method", "seed"))
        return Samples(**{"between": {}, "count": 0, **samples})
    return {**{key: _values(key, value) for key, value in over.items()}, **dict(map(_zipped, together))}


def _values(key: str, value: Any) -> Any:
    if not isinstance(value, dict):
        return value
    if {*value} != {"from", "to", "count"}:
        raise InputError(f"[over] {key} = {value!r}: give a list, or {{ from = \"4 kV\", to = \"6 kV\", count = 5 }}")
    return spaced_values(key, value["from"], value["to"], value["count"])


def _zipped(entry: Mapping[str, Any]) -> tuple[tuple[str, ...], list[tuple[Any, ...]]]:
    lengths = {key: len(values) if isinstance(values, list) else -1 for key, values in entry.items()}
    if len({*lengths.values()}) != 1 or -1 in lengths.values():
        raise InputError(f"[[together]]: {', '.join(f'{key} has {n}' for key, n in lengths.items())} values: give each key a list as long "
                         "as the others'")
    return tuple(entry), list(zip(*entry.values(), strict=True))


def _entries(content: Mapping[str, Any], name: str) -> list[dict[str, Any]]:
    entries = content.get(name, [])
    if not isinstance(entries, list) or not all(isinstance(entry, dict) for entry in entries):
        raise InputError(f"{name}: write each as a table of its own, [[{name}]]")
    return entries


def _plot(entry: Mapping[str, Any]) -> tuple[str, Mapping[str, str]]:
    kind = entry.get("kind")
    if kind not in PLOTS:
        raise InputError(f"[[plot]] kind = {kind!r}: choose {', '.join(map(repr, PLOTS))}")
    options = {key: value for key, value in entry.items() if key != "kind"}
    check_keys("[[plot]]", options, PLOTS[kind])
    if PLOTS[kind][0] not in options:
        raise InputError(f"[[plot]] {kind}: needs {PLOTS[kind][0]}, such as {PLOTS[kind][0]} = \"field in bore\"")
    return kind, options
