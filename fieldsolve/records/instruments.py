"""Channels behind the instruments of a bench: from their data in a case's [instruments], or calibrated against a known current."""
from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np

from fieldsolve.cases.case_file import Case
from fieldsolve.errors import InputError, suggestion
from fieldsolve.estimate import Interval
from fieldsolve.records.record import Channel, Record
from fieldsolve.rig.formulas.instruments import rogowski_mutual
from fieldsolve.rig.tables import Instruments, MissingInput, require
from geometries.keywords import known_keywords

KINDS = ("rogowski", "shunt", "loop", "divider")
FEWEST_SAMPLES = 20


@known_keywords
def instrument_channels(case: Case, columns: Mapping[str, int | str]) -> dict[str, Channel]:
    """Channels for `read_record` from the table [instruments] of a case.

    Parameters
    ----------
    case : Case
    columns : mapping
        Column of the file by instrument: 'rogowski' (without integrator: current_rate), 'shunt' (current), 'loop' (field_rate) or
        'divider' (voltage); in volt.

    Returns
    -------
    dict
        A `Channel` by role.

    Raises
    ------
    InputError
        For an unknown instrument, and for one whose data the case does not give.

    Examples
    --------
    >>> from fieldsolve.cases.case_file import read_case
    >>> case = read_case({"coil": {"shape": "loop", "radius": "10 mm"}, "instruments": {"divider_ratio": 1000}})
    >>> instrument_channels(case, {"divider": 2})["voltage"].scale
    1000.0
    """
    table = case.rig_tables.get("instruments") or Instruments()
    found = {}
    for kind, column in columns.items():
        if kind not in KINDS:
            raise InputError(f"columns: {kind!r} is no instrument; {suggestion(kind, KINDS)}")
        try:
            role, channel = _channel(kind, column, table)
        except MissingInput as missing:
            raise InputError(f"{case.name}: {missing} is missing; the channel behind the {kind} needs it") from None
        found[role] = channel
    return found


def _channel(kind: str, column: int | str, table: Instruments) -> tuple[str, Channel]:
    if kind == "rogowski":
        return "current_rate", Channel(column, scale=1 / rogowski_mutual(*require(table, "rogowski_turns_per_metre", "rogowski_area")))
    if kind == "shunt":
        resistance = require(table, "shunt_resistance")
        time = table.shunt_inductance / resistance if table.shunt_inductance else None
        return "current", Channel(column, scale=1 / resistance, shunt_time=time)
    if kind == "loop":
        turns, area = require(table, "loop_turns", "loop_area")
        return "field_rate", Channel(column, scale=1 / (turns * area), area=turns * area)
    return "voltage", Channel(column, scale=float(require(table, "divider_ratio")))


@dataclass(frozen=True)
class Calibration:
    """A chain of instruments fitted to a known current.

    channel   what `read_record` takes: scale, delay, offset and droop
    gain, delay, droop_rate, offset   with 95 % intervals; undetermined where the record does not tell
    """

    channel: Channel
    gain: Interval
    delay: Interval
    droop_rate: Interval
    offset: Interval


@known_keywords
def calibrate_channel(record: Record, current: Callable[[np.ndarray], np.ndarray], column: int | str = 1,
                      name: str = "current") -> Calibration:
    """Gain, delay, droop and offset of a chain from its record of a known current.

    The chain shows  gain (i - lambda integral of i exp(-lambda (t - s)) ds)(t - delay) + offset.

    Parameters
    ----------
    record : Record
        With the channel as it stands in the file: scale 1, no delay, no droop.
    current : callable
        Ampere at times in seconds (samples,), 0 before the record.
    column : int or str, optional
        Of the channel in the file, for the result.
    name : str, optional
        Of the channel in the record.

    Returns
    -------
    Calibration

    Raises
    ------
    InputError
        Where the record has too few samples, or the current is zero in it.

    Examples
    --------
    >>> t = np.linspace(-1e-5, 1e-4, 2001)
    >>> known = lambda t: 1e4 * np.sin(1e5 * t) * (t > 0)
    >>> found = calibrate_channel(Record(times=t, values={"current": known(t - 2e-7) / 5e3}), known)
    >>> print(f"{found.channel.scale:.1f} A/V, {1e9 * found.channel.delay:.1f} ns")
    5000.0 A/V, 200.0 ns
    """
    from scipy.optimize import least_squares

    times, values = record.samples(name)
    if len(times) < FEWEST_SAMPLES or not np.any(current(times)):
        raise InputError(f"{record.path.name}: too few samples, or a known current that is zero in them; nothing can be calibrated")
    span, peak = float(np.ptp(times)), float(np.abs(current(times)).max())
    level = float(np.abs(values - np.median(values)).max())

    def residual(unknown: np.ndarray) -> np.ndarray:
        gain, delay, droop, offset = unknown
        return gain * _after_droop(times, current(times - delay * span) / peak, droop / span) + offset - values / level

    start = np.array([np.sign(float(values @ current(times))) or 1.0, 0.0, 0.0, 0.0])
    found = least_squares(residual, start, x_scale=[1.0, 1e-3, 0.1, 0.1], diff_step=1e-6, xtol=1e-12, ftol=1e-12)
    noise = float(found.fun @ found.fun) / max(len(times) - 4, 1)
    spread = np.sqrt(noise * np.linalg.pinv(found.jac.T @ found.jac).diagonal())
    factors = (level / peak, span, 1 / span, level)
    gain, delay, droop, offset = (
        Interval.normal(float(value * factor), float(deviation * abs(factor)), unit)
        for value, deviation, factor, unit in zip(found.x, spread, factors, ("", "s", "1/s", ""), strict=True))
    rate = droop.value or 0.0
    channel = Channel(column, scale=1 / gain.value, delay=delay.value, offset=offset.value / gain.value,
                      droop=1 / rate if droop.low is not None and droop.low > 0 else None)
    return Calibration(channel, gain, delay, droop, offset)


def _after_droop(times: np.ndarray, values: np.ndarray, rate: float) -> np.ndarray:
    """A first-order high pass on evenly or unevenly spaced samples:  y = i - rate z,  z' = i - rate z  (trapezoids)."""
    from scipy.integrate import cumulative_trapezoid

    growth = np.exp(np.clip(rate * (times - times[0]), -50.0, 50.0))
    return values - rate * cumulative_trapezoid(values * growth, times, initial=0.0) / growth
