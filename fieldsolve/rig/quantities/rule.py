"""One quantity of the card: a rule, evaluated for a rig and its shot."""
from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from fieldsolve.rig.card_inputs import CardInputs
from fieldsolve.rig.checks.rule import run_read
from fieldsolve.rig.source import Source, source_of_run
from fieldsolve.rig.tables import MissingInput


@dataclass(frozen=True)
class QuantityRule:
    """A quantity of the workshop: `evaluate(inputs)` gives a number in `unit`, or raises MissingInput.

    reads  the shot that it is computed from: 'shot' or 'moving_shot' of CardInputs, None where from neither
    """

    name: str
    label: str
    unit: str
    source: Source
    evaluate: Callable[[CardInputs], float]
    reads: str | None = None


@dataclass(frozen=True, kw_only=True)
class RigQuantity:
    """A quantity of the workshop as it came out, in SI.

    value   None where something is missing; `needs` then says what
    source  where it comes from;  mark  how well that is known: a key of `source.MARKS`
    run     of the shot that it is computed from: 'held' or 'moving'; None where from none
    """

    name: str
    label: str
    value: float | None
    unit: str
    source: str
    mark: str
    needs: str | None
    run: str | None


def evaluate_quantity(rule: QuantityRule, inputs: CardInputs) -> RigQuantity:
    """Evaluate one quantity of a rig and its shot."""
    try:
        value, needs = float(rule.evaluate(inputs)), None
    except MissingInput as missing:
        value, needs = None, str(missing)
    if value is not None and not math.isfinite(value):
        value, needs = None, f"a value that is a finite number; {value} came out"
    run = run_read(rule.reads, inputs)
    source = source_of_run(rule.source, run)
    return RigQuantity(name=rule.name, label=rule.label, value=value, unit=rule.unit, source=source.text, mark=source.mark, needs=needs,
                       run=run)
