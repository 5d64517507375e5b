"""One computed quantity held against its reference."""
from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from benchmarks.cases import ReferenceCase

VECTORS = (("Br_T", "Bz_T"), ("Aphi_Wb_per_m",))     # components whose common modulus a `scale` of points refers to


@dataclass(frozen=True)
class CaseCheck:
    """A quantity of a case: the worst of its entries and what it was allowed to be off.

    computed, reference   at the entry with the largest deviation, in the unit that ends the quantity's name
    deviation, tolerance  both relative or both absolute, as `measure` says
    entry, entries        which entry that was, of how many
    kind                  `field` for a solution of the field, `formula` for an evaluated closed form
    remark                why nothing could be compared, or empty
    """

    case: str
    quantity: str
    computed: float
    reference: float
    deviation: float
    tolerance: float
    measure: str
    entry: int
    entries: int
    kind: str
    mark: str
    source: str
    remark: str = ""

    @property
    def passed(self) -> bool:
        """Whether the deviation is within the tolerance; a deviation that is no number is not."""
        return self.deviation <= self.tolerance


def compare(case: ReferenceCase, quantity: str, computed, kind: str) -> CaseCheck:
    """Check of `computed` (a number, one for each entry, or rows of them) against the case's expected `quantity`."""
    reference, found = (np.ravel(np.asarray(values, dtype=float)) for values in (case.expected[quantity], computed))
    if found.shape != reference.shape:
        raise ValueError(f"{case.id}: {quantity} has {found.size} computed entries, {reference.size} expected")
    measure, tolerance = case.tolerance_of(quantity)
    deviation = np.abs(found - reference)
    if measure == "relative":
        deviation = _relative(deviation, _scale(case, quantity, reference))
    worst = int(np.argmax(deviation))          # argmax puts a NaN first
    return CaseCheck(
        case.id, quantity, float(found[worst]), float(reference[worst]), float(deviation[worst]), tolerance, measure,
        worst, reference.size, kind, case.mark, case.source,
    )


def failure(case: ReferenceCase, kind: str, reason: str) -> CaseCheck:
    """Check of a case that gave no result at all."""
    return CaseCheck(case.id, "(none)", math.nan, math.nan, math.inf, case.accuracy, "relative", 0, 0, kind, case.mark, case.source, reason)


def _scale(case: ReferenceCase, quantity: str, reference: np.ndarray) -> np.ndarray:
    """What a relative deviation refers to: the value itself, or with `scale` the vector's modulus at the point."""
    if "scale" not in case.tolerance:
        return np.abs(reference)
    vector = next(names for names in VECTORS if quantity in names)
    return np.sqrt(sum(np.square(np.asarray(case.expected[name], dtype=float)) for name in vector))


def _relative(deviation: np.ndarray, scale: np.ndarray) -> np.ndarray:
    """deviation / scale; where the scale is zero only an exact zero is no deviation."""
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where((scale == 0) & (deviation == 0), 0.0, deviation / scale)
