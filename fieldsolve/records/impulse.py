"""An impulse current by its standard: peak, front time and tail time."""
from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fieldsolve.errors import InputError
from fieldsolve.records.peak_fit import fit_peak
from fieldsolve.records.record import Record
from geometries.keywords import known_keywords

LOW, HIGH, HALF = 0.1, 0.9, 0.5   # shares of the peak
FEWEST_AT_REST = 8                # samples before the start that make a baseline
TOP = 0.88                        # of the peak: the samples that its second fit takes
WIDTH = 0.08                      # of the peak to either side of a level: the samples that are fitted


@dataclass(frozen=True)
class ImpulseCurrent:
    """Peak, front and tail of an impulse current; ampere, seconds.

    peak, peak_time   by a local fit, with its sign
    front_time        T1 = 1.25 (t_90 - t_10)
    tail_time         T2, from the virtual origin to the half of the peak
    virtual_origin    t_10 - 0.1 T1
    reversal          largest current of the other polarity over the peak
    baseline          taken off

    Source: IEC 60060-1 and IEC 62475 (from memory).
    """

    peak: float
    peak_time: float
    front_time: float
    tail_time: float
    virtual_origin: float
    reversal: float
    baseline: float


@known_keywords
def impulse_current(record: Record, start: float = 0.0) -> ImpulseCurrent:
    """Evaluate the impulse in the channel "current" of a record.

    Parameters
    ----------
    record : Record
    start : float, optional
        Seconds before which the record shows its baseline.

    Returns
    -------
    ImpulseCurrent

    Raises
    ------
    InputError
        Where the record does not reach from 10 % before the peak to half of it behind.

    Examples
    --------
    >>> t = np.linspace(0, 100e-6, 4001)
    >>> record = Record(times=t, values={"current": 3e3 * (t / 4e-6) ** 3 * np.exp(-t / 4e-6)})
    >>> impulse = impulse_current(record)
    >>> print(f"{1e6 * impulse.front_time:.1f}/{1e6 * impulse.tail_time:.1f} us")
    8.2/20.4 us
    """
    times, values = record.samples("current")
    before = values[times < start]
    rest = float(before.mean()) if len(before) >= FEWEST_AT_REST else 0.0
    if not np.any(values != rest):
        raise InputError(f"{record.path.name}: the current does not change; is it the right column?")
    peak, peak_time = _crest(times, values - rest)
    shares = (values - rest) / peak
    t_10, t_90 = (_crossing(times, shares, level, peak_time, -1, record.path.name) for level in (LOW, HIGH))
    t_50 = _crossing(times, shares, HALF, peak_time, 1, record.path.name)
    front = 1.25 * (t_90 - t_10)
    origin = t_10 - LOW * front
    return ImpulseCurrent(peak, peak_time, front, t_50 - origin, origin, max(float(-shares[times > peak_time].min(initial=0.0)), 0.0), rest)


def _crest(times: np.ndarray, values: np.ndarray) -> tuple[float, float]:
    """Value and time of the peak, fitted a second time over the narrow top alone: an impulse is not symmetrical about its peak."""
    peak = fit_peak(times, values)
    top = np.flatnonzero(values / peak.value > TOP)
    if len(top):
        narrow = slice(int(top[0]), int(top[-1]) + 1)
        peak = fit_peak(times[narrow], values[narrow])
    return peak.value, peak.time


def _crossing(times: np.ndarray, shares: np.ndarray, level: float, peak_time: float, side: int, name: str) -> float:
    """The time nearest to the peak, before (-1) or behind it (1), at which the level is crossed, by a parabola t(share) near it."""
    top = int(np.searchsorted(times, peak_time))
    low = np.flatnonzero(shares[:top] < level) if side < 0 else top + np.flatnonzero(shares[top:] < level)
    if not len(low):
        raise InputError(f"{name}: the current does not fall to {100 * level:.0f} % {'before' if side < 0 else 'behind'} its peak within "
                         "the record; record longer")
    near = low[-1] if side < 0 else low[0]
    first, last = _reach(shares, near, level)
    if last - first < 4:
        first, last = (near, near + 2) if side < 0 else (near - 1, near + 1)
        return float(np.interp(level, *(column[first:last] if side < 0 else column[first:last][::-1] for column in (shares, times))))
    middle = times[near]
    fit = np.polynomial.Polynomial.fit(times[first:last] - middle, shares[first:last] - level, min(3, last - first - 1))
    roots = [root.real for root in fit.roots() if abs(root.imag) < 1e-6 * (times[last - 1] - times[first])]
    return float(middle + min(roots, key=abs)) if roots else float(middle)


def _reach(shares: np.ndarray, near: int, level: float) -> tuple[int, int]:
    """Indices about `near` whose shares are within WIDTH of the level, without a break longer than noise makes."""
    within = np.flatnonzero(np.abs(shares - level) < WIDTH)
    if not len(within):
        return near, near
    at = int(np.argmin(np.abs(within - near)))
    breaks = np.flatnonzero(np.diff(within) > max(10, len(shares) // 200))
    first, last = breaks[breaks < at].max(initial=-1) + 1, breaks[breaks >= at].min(initial=len(within) - 1)
    return int(within[first]), int(within[last]) + 1
