"""Samples at the end of an instrument's range, where the trace is cut off."""
from __future__ import annotations

import numpy as np

FEWEST = 5                        # samples at an end of the range that can be a cut
PILE = 4.0                        # samples at the end over samples one level nearer that can be no crest


def clipped(values: np.ndarray) -> np.ndarray:
    """Mask of the samples at which the trace is cut off; NaN is none.

    A crest spends at most 2.4 times as long on its last level as on the one below it (a parabola in steps of the level), a cut trace
    much longer.  A level on which the record begins, or on which it only ends, is its rest and no cut.
    """
    mask = np.zeros(len(values), dtype=bool)
    finite = values[np.isfinite(values)]
    if len(finite) < 4 * FEWEST:
        return mask
    for end, beyond in ((finite.max(), np.greater), (finite.min(), np.less)):
        at_end = values == end
        count = int(np.count_nonzero(at_end))
        if at_end[0] or _within(at_end) < FEWEST or count > 0.9 * len(finite):
            continue
        inner = finite[finite != end]
        level = inner.max() if beyond is np.greater else inner.min()
        if count > PILE * np.count_nonzero(values == level) and _in_runs(at_end):
            mask |= at_end
    return mask


def _within(at_end: np.ndarray) -> int:
    """Samples at the end of the range, but for those with which the record ends."""
    others = np.flatnonzero(~at_end)
    return int(np.count_nonzero(at_end[:others[-1]])) if len(others) else 0


def _in_runs(at_end: np.ndarray) -> bool:
    """Whether the samples stand together: half of them have a neighbour among them."""
    return np.count_nonzero(at_end[1:] & at_end[:-1]) >= 0.5 * np.count_nonzero(at_end)
