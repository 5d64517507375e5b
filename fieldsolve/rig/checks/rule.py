"""One check of the card: a rule with its limit, applied to a rig and its shot; the result says how it came out and why.

A verdict is 'within', 'outside' or 'not assessed'. What is missing, or is not a number, is never 'within'.
"""
from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass

from fieldsolve.rig.card_inputs import CardInputs
from fieldsolve.rig.source import CASE_FILE, COMMON_PRACTICE, Source, source_of_run
from fieldsolve.rig.tables import MissingInput

WITHIN, OUTSIDE, NOT_ASSESSED = "within", "outside", "not assessed"
AT_MOST, AT_LEAST, MUST_BE = "at most", "at least", "must be"
Assessment = tuple[float | bool, str]       # a value in the rule's unit, and the reason in words


@dataclass(frozen=True, kw_only=True)
class Rule:
    """What is checked: `evaluate(inputs)` gives an Assessment, or None where it does not concern the rig, or raises MissingInput.

    name      of the check, and of its limit below [limits];  quantity  the same in words
    sense     AT_MOST or AT_LEAST a number, or MUST_BE true;  limit  the default, in `unit`
    hard      a hard stop; otherwise a warning
    source    of how the value is found;  limit_source  of the limit
    reads     the shot that the value is computed from: 'shot' or 'moving_shot' of CardInputs, None where from neither
    """

    name: str
    quantity: str
    sense: str
    limit: float | bool
    evaluate: Callable[[CardInputs], Assessment | None]
    hard: bool
    source: Source
    unit: str = ""
    limit_source: Source = COMMON_PRACTICE
    reads: str | None = None


@dataclass(frozen=True, kw_only=True)
class Check:
    """How a rule came out; numbers in SI, None for none, never NaN.

    limit    the one that was applied;  default  the one it replaced, None where nobody changed it
    margin   room left as a share of the limit, negative where it is exceeded
    verdict  'within', 'outside' or 'not assessed'
    source, mark              where the value comes from, and how well that is known: a key of `source.MARKS`
    limit_source, limit_mark  the same of the limit
    run      of the shot that the value is computed from: 'held' or 'moving'; None where from none
    """

    name: str
    quantity: str
    sense: str
    limit: float | bool
    default: float | bool | None
    value: float | bool | None
    unit: str
    verdict: str
    margin: float | None
    reason: str
    hard: bool
    source: str
    mark: str
    limit_source: str
    limit_mark: str
    run: str | None


def margin_text(margin: float, limit: float, unit: str) -> str:
    """Room left to a limit in percent of it, of decibels in decibels: a share of a level tells nothing.

    >>> margin_text(0.25, 120.0, "dB"), margin_text(-0.5, 3.0, "V")
    ('+30 dB', '-50 %')
    """
    return f"{margin * limit:+.3g} dB" if unit == "dB" else f"{100 * margin:+.3g} %"


def largest_assessment(assessments: Iterable[Assessment]) -> Assessment:
    """The assessment with the largest value; one that is no finite number before all."""
    return max(assessments, key=lambda assessment: (not math.isfinite(assessment[0]), assessment[0]))


def smallest_assessment(assessments: Iterable[Assessment]) -> Assessment:
    """The assessment with the smallest value; one that is no finite number before all."""
    return min(assessments, key=lambda assessment: (math.isfinite(assessment[0]), assessment[0]))


def run_read(reads: str | None, inputs: CardInputs) -> str | None:
    """The run of the shot that a rule reads: 'held' or 'moving'; None where it reads none or none was computed."""
    quantities = getattr(inputs, reads) if reads else None
    return None if quantities is None else "held" if quantities.held else "moving"


def apply_rule(rule: Rule, inputs: CardInputs) -> Check | None:
    """Apply one rule to a rig and its shot; None where it does not concern it."""
    try:
        assessment = rule.evaluate(inputs)
    except MissingInput as missing:
        return _build_check(rule, inputs, None, f"needs {missing}")
    if assessment is None:
        return None
    value, reason = assessment
    if not math.isfinite(value):
        return _build_check(rule, inputs, None, f"needs a value that is a finite number; {value} came out ({reason})")
    return _build_check(rule, inputs, value, reason)


def _is_met(sense: str, value: float | bool, limit: float | bool) -> bool:
    if sense == MUST_BE:
        return value is limit
    return value <= limit if sense == AT_MOST else value >= limit


def _build_check(rule: Rule, inputs: CardInputs, value: float | bool | None, reason: str) -> Check:
    limit, run = inputs.rig.limits.get(rule.name, rule.limit), run_read(rule.reads, inputs)
    changed, source = limit != rule.limit, source_of_run(rule.source, run)
    limit_source = CASE_FILE if changed else rule.limit_source
    verdict = NOT_ASSESSED if value is None else WITHIN if _is_met(rule.sense, value, limit) else OUTSIDE
    return Check(name=rule.name, quantity=rule.quantity, sense=rule.sense, limit=limit, default=rule.limit if changed else None,
                 value=value, unit=rule.unit, verdict=verdict, margin=_margin(rule.sense, value, limit), reason=reason, hard=rule.hard,
                 source=source.text, mark=source.mark, limit_source=limit_source.text, limit_mark=limit_source.mark, run=run)


def _margin(sense: str, value: float | bool | None, limit: float | bool) -> float | None:
    if value is None or sense == MUST_BE or not limit:
        return None
    return 1 - value / limit if sense == AT_MOST else value / limit - 1
