"""What a finished shot promises and does not keep: its end time, its energy balance, its accuracy."""
from __future__ import annotations

import math
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from fieldsolve.shot.result.shot import Shot

MAX_IMBALANCE = {True: 1e-3, False: 5e-3}       # of the banks' energy, for metal held still or not
DEFAULT_ACCURACY = 3e-3                         # of a shot, for which these hold; a coarser one promises less in proportion


def broken_promises(shot: Shot) -> list[str]:
    """A sentence for each promise that a shot does not keep; none of one that was interrupted, which makes none."""
    if shot.interrupted:
        return []
    found = [f"ended by its motion at {1e6 * shot.times[-1]:.4g} us, before its end time"] if shot.stop_reason else []
    residual, limit = float(shot.energy.residual), MAX_IMBALANCE[shot.held] * max(1.0, shot.accuracy / DEFAULT_ACCURACY)
    if not residual <= limit:
        found.append(f"the energy balance closes to {100 * residual:.2g} %, not to {100 * limit:.2g} %")
    return [*found, *_accuracy_shortfalls(shot), *_uncertain_peaks(shot)]


def _accuracy_shortfalls(shot: Shot) -> list[str]:
    """What the shot itself says of its accuracy."""
    return [f"accuracy {shot.accuracy:g} not reached: {reason}" for reason in getattr(shot, "shortfalls", ())]


def _uncertain_peaks(shot: Shot) -> list[str]:
    """Peak currents and fields whose error, where it is known, is larger than they are."""
    places = [("current", name, "A") for name in (*shot.coils, *shot.bodies)]
    places += [(quantity, place, "T") for quantity, place in shot.history.values if quantity == "field"]
    peaks = {f"{quantity} of {place}": shot.peak(quantity, place) for quantity, place, _ in places} if shot.reference else {}
    return [f"{name}: the error {peak.error:.2g} {peak.unit} is larger than its peak {abs(peak):.2g} {peak.unit}"
            for name, peak in peaks.items() if math.isfinite(peak.error) and peak.error > abs(peak)]
