"""One line of a comparison, and its verdict: the difference against all uncertainty that is known (ASME V&V 20)."""
from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

COVERAGE = 2.0             # times the standard uncertainty: 95 %
WEAK_TEST = 0.2            # of the measured value: where known uncertainty is larger, agreement says little
AGREES, DIFFERS, OPEN = "agrees", "differs", "open"


@dataclass(frozen=True, kw_only=True)
class Row:
    """A quantity computed and measured; numbers in SI, uncertainties standard ones, None where not known.

    Parameters
    ----------
    name, unit : str
    computed, measured : float
    difference : float
        E = computed - measured.
    u_num : float or None
        Half the error bound of the computed value.
    u_input : float or None
        From the uncertainties that the case file gives.
    u_measured : float or None
        Of the measurement.
    contributions : mapping
        To u_input, by dotted key of the case.
    offsets : mapping
        By which the computed value would move with a term that the model leaves out, by its name; not in `difference`.
    reason : str
        Why the computed value predicts nothing, empty where it does.

    Examples
    --------
    >>> row = Row(name="peak current of coil", unit="A", computed=51e3, measured=50e3, u_num=100.0, u_input=400.0, u_measured=300.0)
    >>> round(row.difference), round(row.u_val), row.outcome
    (1000, 510, 'agrees')
    """

    name: str
    unit: str
    computed: float
    measured: float
    u_num: float | None = None
    u_input: float | None = None
    u_measured: float | None = None
    contributions: Mapping[str, float] = field(default_factory=dict)
    offsets: Mapping[str, float] = field(default_factory=dict)
    reason: str = ""

    @property
    def difference(self) -> float:
        """E = computed - measured."""
        return self.computed - self.measured

    @property
    def u_val(self) -> float | None:
        """Root of the sum of squares of the uncertainties that are known; None where none is."""
        known = [u for u in (self.u_num, self.u_input, self.u_measured) if u is not None]
        return math.hypot(*known) if known else None

    @property
    def ratio(self) -> float | None:
        """|E| over what all known uncertainty explains, 2 u_val; None where nothing is known."""
        return abs(self.difference) / (COVERAGE * self.u_val) if self.u_val else None

    @property
    def outcome(self) -> str:
        """'agrees', 'differs', or 'open' where nothing can be said."""
        if self.reason or self.ratio is None:
            return OPEN
        return AGREES if self.ratio <= 1 else DIFFERS

    @property
    def verdict(self) -> str:
        """The outcome in words, and which uncertainties are not known."""
        return self.short_verdict + ("" if self.outcome == OPEN else self._unknown_text())

    @property
    def short_verdict(self) -> str:
        """The outcome in words."""
        if self.reason:
            return self.reason
        if self.ratio is None:
            return "no uncertainty is known: nothing can be said"
        return f"{self._outcome_text()}{self._offset_text()}"

    def _outcome_text(self) -> str:
        if self.outcome == DIFFERS:
            return f"differs by {self.ratio:.2g} times what all known uncertainty explains: the model, or an input"
        if COVERAGE * (self.u_val or 0.0) > WEAK_TEST * abs(self.measured):
            share = 100 * COVERAGE * (self.u_val or 0.0) / abs(self.measured) if self.measured else math.inf
            return f"agrees, within {share:.2g} % of known uncertainty: a weak test"
        return f"agrees: {self.ratio:.2g} of what known uncertainty explains"

    def _offset_text(self) -> str:
        """Whether the terms that the model leaves out change the outcome."""
        if not self.offsets or not self.u_val:
            return ""
        corrected = abs(self.difference + sum(self.offsets.values())) / (COVERAGE * self.u_val)
        if (corrected <= 1) == (self.outcome == AGREES):
            return ""
        words = "it would agree" if corrected <= 1 else f"it would differ by {corrected:.2g} times that"
        return f"; with {' and '.join(self.offsets)} {words}"

    def _unknown_text(self) -> str:
        unknown = [text for text, u in (("the numerical error", self.u_num), ("the inputs' uncertainty", self.u_input),
                                        ("the measurement's uncertainty", self.u_measured)) if u is None]
        return f" (not known: {', '.join(unknown)})" if unknown else ""


def overall_verdict(rows: tuple[Row, ...]) -> str:
    """All rows in one sentence."""
    differing = [row.name for row in rows if row.outcome == DIFFERS]
    agreeing = sum(row.outcome == AGREES for row in rows)
    left = sum(row.outcome == OPEN for row in rows)
    words = [f"{agreeing} of {len(rows)} agree within known uncertainty"]
    words += [f"beyond it: {', '.join(differing)}"] if differing else []
    words += [f"{left} open"] if left else []
    return "; ".join(words)
