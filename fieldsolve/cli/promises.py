"""What a finished shot promises and does not keep: its end time, its energy balance, its accuracy."""
from __future__ import annotations

import math
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from fieldsolve.shot.result.shot import Shot


def broken_promises(shot: Shot) -> list[str]:
    """A sentence for each promise that a shot does not keep; none of one that was interrupted, which makes none."""
    if shot.interrupted:
        return []
    return [*shot.shortfalls, *_uncertain_peaks(shot)]


def _uncertain_peaks(shot: Shot) -> list[str]:
    """Peak currents and fields whose error, where it is known, is larger than they are."""
    places = [("current", name, "A") for name in (*shot.coils, *shot.bodies)]
    places += [(quantity, place, "T") for quantity, place in shot.history.values if quantity == "field"]
    peaks = {f"{quantity} of {place}": shot.peak(quantity, place) for quantity, place, _ in places} if shot.comparisons else {}
    return [f"{name}: the error {peak.error:.2g} {peak.unit} is larger than its peak {abs(peak):.2g} {peak.unit}"
            for name, peak in peaks.items() if math.isfinite(peak.error) and peak.error > abs(peak)]
