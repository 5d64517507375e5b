"""Bands as text for the screen, and as plain data for JSON."""
from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import asdict

from fieldsolve.caution import CAUTION
from fieldsolve.screen import labelled_lines, wrapped_lines
from fieldsolve.units import display

REPEATED = ("diameter of", "hole radius of", "radius of", "time of", "zero crossing", "residual voltage of", "second peak",
            "charge voltage of", "largest reverse voltage of", "peak axial field at")
SMALLEST_SHARE = 0.02            # of a variance: an input that causes less is not named


def bands_text(bands) -> str:
    """One screen: each quantity with its interval and what it comes from, the inputs, how it was computed, remarks."""
    rows = [(row.name, f"{band_text(row)}; {what_matters(row)}{marks(row)}") for row in main_rows(bands)]
    lines = [f"{bands.case.name}: {bands.title}", "95 % bands from the uncertainties of the inputs, and the shares of the variance:",
             *(labelled_lines(rows) if rows else ["  nothing moves"])]
    sentences = ["inputs: " + "; ".join(map(input_text, bands.inputs)), *methods(bands), *bands.remarks]
    return "\n".join([*lines, *(line for sentence in sentences for line in wrapped_lines(sentence)),
                      *wrapped_lines(CAUTION)])


def main_rows(bands) -> tuple:
    """The rows that a screen or page has room for: without those that repeat another, or are read from the current alone."""
    return tuple(row for row in bands.rows if not row.name.startswith(REPEATED))


def band_text(row) -> str:
    """Value, interval and relative half-width of a band."""
    share = f", +- {50 * (row.high - row.low) / abs(row.value):.2g} %" if row.value else ""
    return f"{display(row.value, row.unit, digits_of(row))} ({range_text(row)}{share})"


def range_text(row) -> str:
    """The ends of a band, the smaller magnitude first: '47.03 to 48.44 kA'."""
    low, high = (display(number, row.unit, digits_of(row)) for number in sorted((row.low, row.high), key=abs))
    number, _, unit = low.partition(" ")
    return f"{number if high.endswith(f' {unit}') else low} to {high}"


def digits_of(row) -> int:
    """Significant digits of a value, so that of its standard uncertainty two are seen."""
    if not row.standard_uncertainty or not row.value:
        return 3
    return min(max(2 + math.floor(math.log10(abs(row.value))) - math.floor(math.log10(row.standard_uncertainty)), 2), 7)


def what_matters(row) -> str:
    """The inputs that cause most of a variance, by total index: 'bank.voltage 62 %, disc.radius 30 %'."""
    ranked = sorted(row.total.items(), key=lambda entry: -entry[1])
    return ", ".join(f"{name} {100 * share:.0f} %" for name, share in ranked[:3] if share > SMALLEST_SHARE)


def marks(row) -> str:
    """What is wrong with a band, in words in brackets; empty where nothing is."""
    found = [] if row.linear_holds else [f"linear propagation is {100 * row.linear_difference:.0f} % off: not used"]
    found += [] if row.follows_shots else ["shots at random scatter: compute more of them"]
    found += [] if row.settled else ["not settled: draw more"]
    return f"  [{'; '.join(found)}]" if found else ""


def input_text(entry) -> str:
    """An input with its standard uncertainty."""
    share = (f"{100 * entry.standard_uncertainty / abs(entry.value):.2g} %" if entry.value else
             display(entry.standard_uncertainty, entry.unit, 2))
    correlated = ", correlated" if entry.correlated_with else ""
    return f"{entry.key} u = {share} ({entry.distribution}{correlated})"


def methods(bands) -> Iterator[str]:
    """How the bands were computed, in sentences."""
    shots = f"{bands.shots} full shot{'s' if bands.shots != 1 else ''}, {bands.checks} of them at random"
    yield f"{bands.draws} draws, seed {bands.seed}; {shots}{', metal held still' if bands.held else ''}."
    for method in dict.fromkeys(row.method for row in bands.rows):
        names = [row.name for row in main_rows(bands) if row.method == method]
        if names:
            yield f"{method[0].upper()}{method[1:]}: {', '.join(names)}."


def bands_facts(bands) -> dict:
    """Everything but the traces, in SI."""
    rows = [asdict(row) | {"linear_difference": row.linear_difference, "linear_holds": row.linear_holds} for row in bands.rows]
    return {"title": bands.title, "rows": rows, "inputs": [asdict(entry) for entry in bands.inputs], "draws": bands.draws,
            "settled": bands.settled, "shots": bands.shots, "checks": bands.checks, "seed": bands.seed, "held": bands.held,
            "remarks": list(bands.remarks)}


def trace_rows(bands) -> list[dict[str, float]]:
    """The traces with their bands as rows of a table, one an instant, in SI."""
    columns = {"time [s]": bands.traces[0].times} if bands.traces else {}
    for trace in bands.traces:
        for word in ("value", "low", "median", "high"):
            columns[f"{trace.quantity} of {trace.place}, {word} [{trace.unit}]"] = getattr(trace, word)
    return [dict(zip(columns, map(float, row), strict=True)) for row in zip(*columns.values(), strict=True)]
