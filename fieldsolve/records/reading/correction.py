"""What an instrument does to its quantity, undone: droop of an integrator, inductance of a shunt."""
from __future__ import annotations

import numpy as np

from fieldsolve.errors import InputError
from fieldsolve.records.record import Channel


def corrected(times: np.ndarray, values: np.ndarray, channel: Channel, name: str, remarks: list[str]) -> np.ndarray:
    """Values of a channel without the droop and the inductance that its `Channel` gives.

    Parameters
    ----------
    times : ndarray (samples,)
        Seconds.
    values : ndarray (samples,)
        NaN where there is no sample.
    channel : Channel
    name : str
        Of the channel, for messages.
    remarks : list of str
        To which what was done is added.

    Raises
    ------
    InputError
        Where the samples are too few.
    """
    if channel.droop is None and channel.shunt_time is None:
        return values
    there = np.isfinite(values)
    if np.count_nonzero(there) < 2:
        raise InputError(f"channel {name}: has too few samples to correct")
    t, y = times[there], values[there]
    if (~there).any():
        remarks.append(f"{name}: the correction takes straight lines over what was left out")
    if channel.shunt_time is not None:
        y = without_shunt_inductance(t, y, channel.shunt_time)
    if channel.droop is not None:
        y = without_droop(t, y, channel.droop)
    result = np.full(len(values), np.nan)
    result[there] = y
    return result


def without_droop(times: np.ndarray, values: np.ndarray, droop: float) -> np.ndarray:
    """What went into a first-order high pass of time constant `droop`:  x = y + (1/tau) integral of y dt  (trapezoids).

    Take the offset off first: it would be integrated too.
    """
    from scipy.integrate import cumulative_trapezoid

    return values + cumulative_trapezoid(values, times, initial=0.0) / droop


def without_shunt_inductance(times: np.ndarray, values: np.ndarray, time_constant: float) -> np.ndarray:
    """The current, times R, of a shunt whose voltage is  v = R i + L di/dt:  with tau = L/R,  tau x' + x = v/R.

    Exact for a voltage that is linear between samples; at the first sample the current is taken for steady.
    """
    from scipy.signal import lfilter

    steps = np.diff(times)
    step = float(np.median(steps))
    if steps.size and np.ptp(steps) > 1e-3 * step:                           # uneven: on an even grid and back
        even = np.arange(times[0], times[-1] + step, step)
        return np.interp(times, even, without_shunt_inductance(even, np.interp(even, times, values), time_constant))
    decay = np.exp(-step / time_constant)
    ahead = 1 - time_constant / step * (1 - decay)                           # weights of v at the end and at the start of a step
    behind = time_constant / step * (1 - decay) - decay
    return lfilter([ahead, behind], [1.0, -decay], values, zi=[values[0] - ahead * values[0]])[0]


def integrated(times: np.ndarray, values: np.ndarray, offset: float = 0.0) -> np.ndarray:
    """Integral of a rate from the first sample on, `offset` taken off the rate first (trapezoids)."""
    from scipy.integrate import cumulative_trapezoid

    return cumulative_trapezoid(values - offset, times, initial=0.0)
