"""The go / no-go card as facts for JSON and as text for a screen of 96 columns, without colour."""
from __future__ import annotations

import textwrap
from dataclasses import asdict
from typing import Any

from fieldsolve.rig.card import Card
from fieldsolve.rig.checks.rule import MUST_BE, NOT_ASSESSED, OUTSIDE, Check, margin_text
from fieldsolve.rig.quantities.rule import RigQuantity
from fieldsolve.rig.source import MARKS
from fieldsolve.screen import column_lines
from fieldsolve.units import display
from geometries.keywords import known_keywords

WIDTH = 96
INDENT = " " * 11
ROW_FORMAT = "{:<52} {:<9} {:<17} {}"           # what, value, limit, margin
NAMED_MARKS = ("read", "from-memory")          # marks of sources that have a name


@known_keywords
def card_facts(card: Card) -> dict[str, Any]:
    """A card as floats, booleans, text and None, never NaN; values in the unit that stands beside them, all SI but dB.

    Parameters
    ----------
    card : Card
        From `rig_card`.

    Returns
    -------
    dict
        With the keys verdict, hard_stop_outside, not_assessed, cautions, checks, quantities.

    Examples
    --------
    >>> import fieldsolve as fs
    >>> rig = fs.read_rig({"coil": {"shape": "ring", "radius": "20 mm", "wire_diameter": "2 mm", "material": "copper"}})
    >>> card_facts(fs.rig_card(rig))["not_assessed"]
    True
    """
    return {"verdict": card.verdict, "hard_stop_outside": card.stopped, "not_assessed": card.incomplete, "cautions": list(card.cautions),
            "checks": [asdict(check) for check in card.checks], "quantities": [asdict(quantity) for quantity in card.quantities]}


@known_keywords
def card_summary(title: str, card: Card) -> str:
    """A card as text: cautions, hard stops with those outside first, warnings, what is not assessed, the workshop's quantities, sources.

    Parameters
    ----------
    title : str
        The first line.
    card : Card
        From `rig_card`.

    Returns
    -------
    str

    Examples
    --------
    >>> import fieldsolve as fs
    >>> rig = fs.read_rig({"coil": {"shape": "ring", "radius": "20 mm", "wire_diameter": "2 mm", "material": "copper"}})
    >>> card_summary("bench: card", fs.rig_card(rig)).splitlines()[0]
    'bench: card'
    """
    hard, warnings = ([check for check in card.checks if check.hard is kind and check.verdict != NOT_ASSESSED] for kind in (True, False))
    missing = [check for check in card.checks if check.verdict == NOT_ASSESSED]
    quantities = [quantity for quantity in card.quantities if quantity.value is not None]
    sources, verdict = named_sources(card), _wrap(f"Verdict: {card.verdict}", "", "  ")
    return "\n".join([
        title, *verdict, "",
        "CAUTIONS", *(line for caution in card.cautions for line in _wrap(caution, "  * ", "    ")),
        *_section_lines("HARD STOPS", hard, sources), *_section_lines("WARNINGS", warnings, sources), *_not_assessed_lines(missing),
        *_quantity_lines(quantities, sources), *_source_lines(sources), "",
        *verdict, "Local codes and licensed practice prevail; this card authorises no shot.",
    ])


def named_sources(card: Card) -> dict[str, int]:
    """Number of each source that has a name, in the order of the card."""
    pairs = [pair for check in card.checks for pair in ((check.source, check.mark), (check.limit_source, check.limit_mark))]
    pairs += [(quantity.source, quantity.mark) for quantity in card.quantities if quantity.value is not None]
    named = dict.fromkeys(source for source, mark in pairs if mark in NAMED_MARKS)
    return {source: number for number, source in enumerate(named, 1)}


def _source_lines(sources: dict[str, int]) -> list[str]:
    lines = [line for text, number in sources.items() for line in _wrap(text, f"  {number:>2}  ", "      ")]
    return ["", "SOURCES", *lines] if lines else []


def source_mark(source: str, mark: str, sources: dict[str, int], run: str | None = None) -> str:
    """How well a value is known, the number of its source, and of which run of the shot it is."""
    known = f"{MARKS[mark]} {sources[source]}" if source in sources else MARKS[mark]
    return known if run is None else f"{known}, metal {run}"


def _section_lines(title: str, checks: list[Check], sources: dict[str, int]) -> list[str]:
    if not checks:
        return []
    outside = [check for check in checks if check.verdict == OUTSIDE]
    ordered = outside + [check for check in checks if check not in outside]
    head = ROW_FORMAT.format(f"{title}: {len(outside)} of {len(checks)} outside", "value", "limit", "margin")
    return ["", head, *(line for check in ordered for line in _check_lines(check, sources))]


def _check_lines(check: Check, sources: dict[str, int]) -> list[str]:
    """Two lines or more: how it came out, then why and where it comes from."""
    verdict = "OUTSIDE" if check.verdict == OUTSIDE else "within"
    margin = "" if check.margin is None else margin_text(check.margin, check.limit, check.unit)
    row = ROW_FORMAT.format(f"  {verdict:<8} {check.quantity}", value_text(check), limit_text(check), margin)
    changed_limit = (
        [] if check.default is None else [f"{INDENT}CHANGED LIMIT: the default is {check.sense} {_number_text(check, check.default)}"]
    )
    value = source_mark(check.source, check.mark, sources, check.run)
    limit = source_mark(check.limit_source, check.limit_mark, sources)
    marks = f"[value and limit {value}]" if value == limit else f"[value {value}{'; ' if check.run else ', '}limit {limit}]"
    return [row.rstrip(), *changed_limit, *_wrap(f"{check.reason} {marks}", INDENT, INDENT)]


def value_text(check: Check) -> str:
    """The value of a check with its unit, or yes and no."""
    return _number_text(check, check.value)


def limit_text(check: Check) -> str:
    """Its limit, such as 'at most 300 s'."""
    return f"{check.sense} {_number_text(check, check.limit)}"


def _number_text(check: Check, value: float | bool | None) -> str:
    if check.sense == MUST_BE:
        return "yes" if value else "no"
    return display(value, check.unit)


def _not_assessed_lines(checks: list[Check]) -> list[str]:
    if not checks:
        return []
    lines = ["", f"NOT ASSESSED: {len(checks)}"]
    for check in checks:
        lines.append(f"  {'stop' if check.hard else 'warning':<8} {check.quantity}, {limit_text(check)}")
        lines += _wrap(f"not assessed: {check.reason}", INDENT, INDENT)
    return lines


def _quantity_lines(quantities: list[RigQuantity], sources: dict[str, int]) -> list[str]:
    rows = [
        [quantity.label, display(quantity.value, quantity.unit), f"[{source_mark(quantity.source, quantity.mark, sources, quantity.run)}]"]
        for quantity in quantities
    ]
    return ["", "QUANTITIES", *column_lines(rows)] if rows else []


def _wrap(text: str, first: str, rest: str) -> list[str]:
    return textwrap.wrap(text, WIDTH, initial_indent=first, subsequent_indent=rest, break_long_words=False, break_on_hyphens=False)
