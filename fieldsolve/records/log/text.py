"""A shot of the log, and the list of all, on a screen."""
from __future__ import annotations

from itertools import groupby
from pathlib import Path
from typing import Any

from fieldsolve.records.log.entry import COMPARISON, NOTE, PHOTO, RECORD, LogEntry
from fieldsolve.screen import wrapped_lines
from fieldsolve.units import display


def entry_text(entry: LogEntry) -> str:
    """One screen: what was predicted and when, what was written down, what is missing, what is not as it was stored."""
    prediction = entry.stored["prediction"]
    peaks = ", ".join(f"{name} {display(value, 'A', 4)} at {display(prediction['time_of_peak_s'][name], 's')}"
                      for name, value in prediction["peak_current_A"].items())
    lines = [f"{entry.name}{': ' if entry.title else ''}{entry.title}",
             f"  case         {Path(entry.stored['case']['file']).name}, SHA-256 {entry.stored['case']['sha256']}",
             f"  prediction   stored {entry.created}, SHA-256 {prediction['sha256']}",
             f"  predicted    {peaks}{_ratios_text(prediction)}",
             f"  software     fieldsolve {entry.stored['software']['fieldsolve']} on {entry.stored['platform']}"]
    lines += [f"  {name}: {value.text}" for name, value in entry.facts.items()]
    for kind in (RECORD, PHOTO):
        lines += [f"  {kind}: {Path(str(addition.file)).name}, added {addition.added}, SHA-256 {addition.sha256}"
                  for addition in entry.current(kind)]
    lines += [f"  note of {addition.added}: {addition.facts['text']}" for addition in entry.current(NOTE)]
    lines += [f"  compared with {addition.facts['record']}: {addition.facts['verdict']}" for addition in entry.current(COMPARISON)]
    lines += [f"  PROBLEM: {problem}" for problem in entry.problems()]
    return "\n".join([*_wrapped(lines), *missing_lines(entry)])


def missing_lines(entry: LogEntry) -> list[str]:
    """What a log of a shot should hold at least, and this one does not, by heading."""
    missing = entry.missing()
    if not missing:
        return ["  nothing that a log should hold at least is missing (common practice, no source)"]
    lines = [f"  missing of what a log should hold at least (common practice, no source), {len(missing)}:"]
    for group, items in groupby(missing, key=lambda item: item[0]):
        lines.append(f"    {group}: {'; '.join(what for _, what in items)}")
    return _wrapped(lines)


def _wrapped(lines: list[str]) -> list[str]:
    """Lines of a screen's width, each with its indent."""
    indents = [line[:len(line) - len(line.lstrip())] for line in lines]
    return [piece for line, indent in zip(lines, indents, strict=True)
            for piece in wrapped_lines(line.strip(), indent, f"{indent}  ")]


def list_text(entries: tuple[LogEntry, ...]) -> str:
    """A line a shot, or two."""
    if not entries:
        return "no shots"
    return "\n".join(line for entry in entries for line in wrapped_lines(_list_entry(entry), "", "    "))


def _list_entry(entry: LogEntry) -> str:
    records, compared = len(entry.current(RECORD)), entry.current(COMPARISON)
    found = [entry.title, compared[-1].facts["verdict"] if compared else "not compared",
             f"{records} record{'' if records == 1 else 's'}, {len(entry.missing())} missing"]
    return f"{entry.name}  {'; '.join(filter(None, found))}"


def entry_facts(entry: LogEntry) -> dict[str, Any]:
    """A shot as plain data for JSON."""
    return {"shot": entry.name, **entry.stored, "facts": {name: value.facts for name, value in entry.facts.items()},
            "additions": [vars(addition) for addition in entry.additions], "problems": entry.problems(),
            "missing": [{"heading": group, "what": what} for group, what in entry.missing()]}


def _ratios_text(prediction: dict[str, Any]) -> str:
    return "".join(f"; {name}: radius {ratio:.4g} of the first, rim thickness {prediction['rim_thickness_ratio'][name]:.4g}"
                   for name, ratio in prediction["radius_ratio"].items() if not prediction["held"])
