"""Inductance, resistance and arc voltage of a bank's loop from the record of its ringing current."""
from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from fieldsolve.errors import InputError
from fieldsolve.records.record import Record
from fieldsolve.records.ringdown.arc_law import check_arc_law
from fieldsolve.records.ringdown.cautions import fit_warnings
from fieldsolve.records.ringdown.constants import Constants, Given, loop_constants
from fieldsolve.records.ringdown.half_waves import HalfWaves, half_waves_of, with_negative_arc
from fieldsolve.records.ringdown.least_squares import Solution, fit_waveform, without_first
from fieldsolve.records.ringdown.load import of_the_bank, read_load, value_and_uncertainty
from fieldsolve.records.ringdown.noise import residual_noise
from fieldsolve.records.ringdown.result import RingDown
from fieldsolve.records.ringdown.trace import current_samples, scale_uncertainty, trace_of
from geometries.keywords import known_keywords


@known_keywords
def fit_ring_down(record: Record | Sequence[Record], *, capacitance: float | tuple[float, float],
                  voltage: float | tuple[float, float] | None = None, load: Any = None, skip: int = 0) -> RingDown:
    """Constants of a ringing loop by least squares over the whole waveform, with what the record leaves undetermined.

    The loop is a capacitance, an inductance, a resistance and a constant arc voltage against the current; the instrument has an offset,
    a droop and a trigger of its own.

    Parameters
    ----------
    record : Record or sequence of Record
        With a channel "current" in ampere.  Several records of one loop at different charges are fitted together, which separates the
        resistance from the arc voltage.
    capacitance : float or tuple
        Farad, or (value, standard uncertainty), which is carried through.
    voltage : float or tuple, optional
        Charge in volt, or (value, standard uncertainty): then the gain of the record is fitted.  Without it the record's scale is taken
        as it is and the initial voltage is fitted; where the channel's scale_uncertainty is infinite only the ratio of the two is given.
    load : Case, str, dict or tuple, optional
        What is taken off to leave the bank's own: a held case, its path or tables, computed at the ring frequency; or (resistance,
        inductance) of a short, each a value or (value, standard uncertainty).
    skip : int, optional
        Half-waves to leave out at the start, in which the field soaks into metal in the coil; start and initial voltage are then those
        of the first one that is fitted.

    Returns
    -------
    RingDown
        Intervals are of 95 %; low and high are None where the record does not determine a parameter.

    Raises
    ------
    InputError
        For a record without ringing, and for numbers that cannot be.
    SolveError
        Where no fit is found.

    Examples
    --------
    >>> import numpy as np
    >>> t = np.linspace(-20e-6, 180e-6, 2000)
    >>> ringing = 13e3 * np.exp(-5.5e3 * t) * np.sin(1.2e5 * t) * (t > 0)
    >>> noise = np.random.default_rng(1).normal(0, 200, len(t))
    >>> fit = fit_ring_down(Record(times=t, values={"current": ringing + noise}), capacitance=120e-6)
    >>> print(f"{1e6 * fit.parameters['inductance'].value:.2f} uH")
    0.58 uH
    """
    records = [record] if isinstance(record, Record) else list(record)
    if not records or not all(isinstance(one, Record) for one in records):
        raise InputError("record: expected a Record of read_record, or several")
    given = _given(capacitance, voltage, records)
    solution = fit_waveform([trace_of(one) for one in records])
    if skip:
        solution = fit_waveform(without_first(solution, _checked_skip(skip, solution)))
    noise = residual_noise(solution.residual, len(solution.vector))
    constants = loop_constants(solution, given, noise.correlated_samples)
    return _result(records, solution, constants, noise.correlated_samples, given, load, skip)


def _given(capacitance: Any, voltage: Any, records: Sequence[Record]) -> Given:
    value, uncertainty = value_and_uncertainty(capacitance, "capacitance")
    if not 0 < value < 1:
        raise InputError(f"capacitance = {capacitance!r}: must be above 0 and below 1 farad, such as 120e-6")
    volts, of_volts = (None, 0.0) if voltage is None else value_and_uncertainty(voltage, "voltage")
    if voltage is not None and not volts:
        raise InputError(f"voltage = {voltage!r}: must be larger than 0 volt")
    if voltage is not None and len(records) > 1:
        raise InputError("voltage: leave it out where several records are fitted together; each has its own initial voltage")
    return Given(value, uncertainty, volts, of_volts, max(scale_uncertainty(one) for one in records))


def _result(records: Sequence[Record], solution: Solution, constants: Constants, length: int, given: Given, load: Any,
            skip: int) -> RingDown:
    parameters = constants.intervals
    inductance = float(parameters["inductance"].value or 0.0)
    half_waves = tuple(with_negative_arc(half_waves_of(solution, number, inductance, length), *_arc(constants))
                       for number in range(len(records)))
    taken_off = None if load is None else read_load(load, float(parameters["frequency"].value or 0.0),
                                                         solution.waveforms[0].alpha)
    return RingDown(
        parameters=parameters, covariance=constants.covariance, noise=_sample_noise(records, solution), correlated_samples=length,
        traces=solution.traces, waveforms=tuple(solution.waveforms),
        residuals=tuple(-solution.residual[part] for part in solution.parts()), half_waves=half_waves,
        arc_law=_other_arc(solution, half_waves[0], inductance), load=taken_off,
        bank={} if taken_off is None else of_the_bank(parameters, taken_off),
        capacitance=(given.capacitance, given.capacitance_uncertainty), skipped=skip,
        warnings=fit_warnings(constants, given, half_waves, solution, length),
        remarks=tuple(f"{one.path.name}: {remark}" for one in records for remark in one.remarks))


def _checked_skip(skip: int, solution: Solution) -> int:
    fewest = min(waveform.half_waves or 0 for waveform in solution.waveforms)
    if isinstance(skip, bool) or not isinstance(skip, int) or not 0 < skip <= fewest - 2:
        raise InputError(f"skip = {skip!r}: must be a whole number that leaves two half-waves of the {fewest} in the record")
    return skip


def _arc(constants: Constants) -> tuple[float, float]:
    """Arc voltage, or its share of the initial voltage, that fits best without regard to its sign, and its standard deviation."""
    names = list(constants.intervals)
    k = names.index("arc_voltage" if "arc_voltage" in names else "arc_ratio")
    return float(constants.values[k]), float(np.sqrt(constants.covariance[k, k]))


def _other_arc(solution: Solution, half_waves: HalfWaves, inductance: float):
    waveform = solution.waveforms[0]
    return check_arc_law(half_waves, inductance, waveform.omega, waveform.alpha, waveform.drop * np.sign(waveform.first))


def _sample_noise(records: Sequence[Record], solution: Solution) -> float:
    """Standard deviation of a sample in ampere, of all samples and not of their means."""
    squares, count = 0.0, -len(solution.vector)
    for record, waveform, trace in zip(records, solution.waveforms, solution.traces, strict=True):
        first = trace.times[0] - 0.5 * (trace.times[1] - trace.times[0])
        times, values = current_samples(record)
        fitted = times >= first
        residual = values[fitted] - waveform.at(times[fitted])
        squares, count = squares + float(residual @ residual), count + int(np.count_nonzero(fitted))
    return float(np.sqrt(squares / max(count, 1)))
