"""One check of the card: a rule with its limit, applied to a rig; the result says how it came out and why.

A verdict is 'within', 'outside' or 'not assessed'. What is missing, or is not a number, is never 'within'.
"""
from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass

from fieldsolve.rig.source import CASE_FILE, COMMON_PRACTICE, Source
from fieldsolve.rig.tables import MissingInput

WITHIN, OUTSIDE, NOT_ASSESSED = "within", "outside", "not assessed"
AT_MOST, AT_LEAST, MUST_BE = "at most", "at least", "must be"
Assessment = tuple[float | bool, str]       # a value in the rule's unit, and the reason in words


@dataclass(frozen=True)
class Rule:
    """What is checked: `measure(rig)` gives a Reading, or None where it does not concern the rig, or raises Missing.

    name     of the check, and of its limit below [limits];  quantity  the same in words
    sense    AT_MOST or AT_LEAST a number, or MUST_BE true
    hard     a hard stop; otherwise a warning
    source   of how the value is found;  limit_source  of the limit
    """

    name: str
    quantity: str
    sense: str
    limit: float | bool
    unit: str
    hard: bool
    evaluate: Callable[..., Assessment | None]
    source: Source
    limit_source: Source = COMMON_PRACTICE


@dataclass(frozen=True)
class Check:
    """How a rule came out; numbers in SI, None for none, never NaN.

    limit    the one that was applied;  default  the one it replaced, None where nobody changed it
    margin   room left as a share of the limit, negative where it is exceeded
    verdict  'within', 'outside' or 'not assessed'
    source, mark              where the value comes from, and how well that is known: a key of `source.MARKS`
    limit_source, limit_mark  the same of the limit
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


def largest_assessment(assessments: Iterable[Assessment]) -> Assessment:
    """The reading with the largest value; one that is no finite number before all."""
    return max(assessments, key=lambda assessment: (not math.isfinite(assessment[0]), assessment[0]))


def smallest_assessment(assessments: Iterable[Assessment]) -> Assessment:
    """The reading with the smallest value; one that is no finite number before all."""
    return min(assessments, key=lambda assessment: (math.isfinite(assessment[0]), assessment[0]))


def apply_rule(rule: Rule, rig) -> Check | None:
    """Apply one rule to a rig; None where it does not concern it."""
    limit = rig.limits.get(rule.name, rule.limit)
    try:
        assessment = rule.evaluate(rig)
    except MissingInput as missing:
        return _build_check(rule, limit, None, NOT_ASSESSED, f"needs {missing}")
    if assessment is None:
        return None
    value, reason = assessment
    if not math.isfinite(value):
        return _build_check(rule, limit, None, NOT_ASSESSED, f"needs a value that is a finite number; {value} came out ({reason})")
    return _build_check(rule, limit, value, WITHIN if _is_met(rule.sense, value, limit) else OUTSIDE, reason)


def _is_met(sense: str, value: float | bool, limit: float | bool) -> bool:
    if sense == MUST_BE:
        return value is limit
    return value <= limit if sense == AT_MOST else value >= limit


def _build_check(rule: Rule, limit: float | bool, value: float | bool | None, verdict: str, reason: str) -> Check:
    changed = limit != rule.limit
    limit_source = CASE_FILE if changed else rule.limit_source
    return Check(rule.name, rule.quantity, rule.sense, limit, rule.limit if changed else None, value, rule.unit, verdict,
                 _margin(rule.sense, value, limit), reason, rule.hard, rule.source.text, rule.source.mark, limit_source.text,
                 limit_source.mark)


def _margin(sense: str, value: float | bool | None, limit: float | bool) -> float | None:
    if value is None or sense == MUST_BE or not limit:
        return None
    return 1 - value / limit if sense == AT_MOST else value / limit - 1
