"""What a band is computed of: quantities and traces of a run, a shot or a discharge of the reduced model, as one vector of numbers."""
from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import partial
from typing import Any

import numpy as np
from scipy.interpolate import CubicHermiteSpline, PchipInterpolator

from fieldsolve.materials.thermal import ROOM_TEMPERATURE
from fieldsolve.records.comparison.current_rows import row_name
from fieldsolve.records.comparison.quantities import measurable_quantities
from fieldsolve.records.comparison.trace import Trace, block_length, read_trace
from fieldsolve.shot.history import UNITS
from fieldsolve.shot.result.quantities import final_ratio

INSTANTS = 301              # of a trace
READ_INSTANTS = 2001        # of the current, of which peak times, crossings and integrals are read
LEFT_OUT = ("mass of",)
TEMPERATURE = "peak temperature of "
READING_UNITS = {"second peak over first": "", "integral of I^2 dt": "A^2 s"}           # of readings that are no times
Evaluate = Callable[[Any], float]


@dataclass(frozen=True)
class Output:
    """A number of a run.

    evaluate  its value, not a number where a run has none
    time      when it is read, where that is one instant
    of_shape  whether it is of metal that must move for it
    proxy     of a cold run something that it grows in proportion with from `rest` on, such as the heat for a temperature
    """

    name: str
    unit: str
    evaluate: Evaluate
    time: Evaluate | None = None
    of_shape: bool = False
    proxy: Evaluate | None = None
    rest: float = 0.0


@dataclass(frozen=True, eq=False)
class OutputVector:
    """Numbers and traces of a run in a fixed order.

    outputs  the numbers;  traces  (quantity, place) of each trace, read at `times` (k,) in seconds
    """

    outputs: tuple[Output, ...]
    traces: tuple[tuple[str, str], ...]
    times: np.ndarray
    coil: str
    block: float

    @property
    def size(self) -> int:
        """Length of the vector."""
        return len(self.outputs) + len(self.traces) * len(self.times)

    def evaluate(self, run: Any) -> np.ndarray:
        """The vector of a run, not a number where the run has no such thing."""
        readings = _readings(run, self.coil, self.times[-1], self.block) if self._reads else {}
        numbers = [readings.get(output.name, math.nan) if output.evaluate is _is_read else _value(output.evaluate, run)
                   for output in self.outputs]
        return np.concatenate([np.array(numbers), *(resampled(run, quantity, place, self.times) for quantity, place in self.traces)])

    def proxy(self, number: int, run: Any) -> float:
        """The proxy of an output of a run, not a number where it has none."""
        evaluate = self.outputs[number].proxy
        return math.nan if evaluate is None else _value(evaluate, run)

    def trace_columns(self, number: int) -> slice:
        """Columns of a trace."""
        start = len(self.outputs) + number * len(self.times)
        return slice(start, start + len(self.times))

    @property
    def _reads(self) -> bool:
        return any(output.evaluate is _is_read for output in self.outputs)


def outputs_of(shot: Any, end: float) -> OutputVector:
    """All that bands can be computed of for a shot, up to a time in seconds."""
    coil = shot.coils[0]
    block = block_length(current_trace(shot, coil, end))
    outputs = (*_peaks(shot), *_read_outputs(shot, coil, end, block), *_measurables(shot), *_of_moved_metal(shot))
    known = {output.name: output for output in outputs}
    return OutputVector(tuple(known.values()), tuple(_traced(shot)), np.linspace(0.0, end, INSTANTS), coil, block)


def current_trace(run: Any, coil: str, end: float) -> Trace:
    """Current of a coil from 0 to `end` in seconds."""
    times = np.linspace(0.0, end, READ_INSTANTS)
    return Trace(times, resampled(run, "current", coil, times))


def resampled(run: Any, quantity: str, place: str, times: np.ndarray) -> np.ndarray:
    """A series at other times, by its rate where that is known, else by a cubic that keeps its shape; not a number where there is none."""
    values = run.history.values
    if (quantity, place) not in values:
        return np.full(len(times), math.nan)
    within = np.minimum(times, run.times[-1])
    if (f"{quantity}_rate", place) in values:
        return CubicHermiteSpline(run.times, values[quantity, place], values[f"{quantity}_rate", place])(within)
    return PchipInterpolator(run.times, values[quantity, place])(within)


def _is_read(run: Any) -> float:
    """Stands for a number that is read from the trace of the current, all such numbers at once."""
    return math.nan


def _readings(run: Any, coil: str, end: float, block: float) -> dict[str, float]:
    return {row_name(name, coil): reading.value for name, reading in read_trace(current_trace(run, coil, end), block).items()}


def _value(evaluate: Evaluate, run: Any) -> float:
    """The number, not a number where the run has no such series."""
    from fieldsolve.errors import InputError

    try:
        return float(evaluate(run))
    except InputError:
        return math.nan


def _peaks(shot: Any) -> Iterator[Output]:
    for bank in shot.bank_places:
        yield Output(f"largest reverse voltage of {bank}", "V", partial(_reverse_voltage, bank=bank))
    if ("field", "centre") in shot.history.values:
        yield Output("peak axial field at centre", "T", lambda run: abs(run.history.peak("field", "centre")[0]))
    for coil in shot.coils:
        yield _peak("peak current of", "current", coil)
    for body in shot.bodies:
        yield _peak("peak current of", "current", body)
        yield _peak("peak radial force on", "radial_force", body)


def _reverse_voltage(run: Any, bank: str) -> float:
    """Largest reverse voltage of a bank, V; not a number where it does not reverse."""
    lowest = float(run.series("voltage", bank).min())
    return -lowest if lowest < 0 else math.nan


def _peak(words: str, quantity: str, place: str) -> Output:
    return Output(f"{words} {place}", UNITS[quantity], lambda run: run.history.peak(quantity, place)[0],
                  lambda run: run.history.peak(quantity, place)[1])


def _read_outputs(shot: Any, coil: str, end: float, block: float) -> Iterator[Output]:
    for name in _readings(shot, coil, end, block):
        if not name.startswith("peak current"):
            unit = next((unit for reading, unit in READING_UNITS.items() if name.startswith(reading)), "s")
            yield Output(name, unit, _is_read)


def _measurables(shot: Any) -> Iterator[Output]:
    for name, quantity in measurable_quantities(shot).items():
        if not name.startswith(LEFT_OUT):
            part, time = name.removeprefix(TEMPERATURE), quantity.time(shot)
            proxy = partial(_heat, part=part, end=time) if name.startswith(TEMPERATURE) else None
            yield Output(name, quantity.unit, quantity.evaluate, quantity.time, quantity.of_shape, proxy, ROOM_TEMPERATURE)


def _heat(run: Any, part: str, end: float) -> float:
    """Ohmic heat of a part up to a time in seconds, J."""
    return float(PchipInterpolator(run.times, run.series("power", part)).integrate(0.0, min(end, float(run.times[-1]))))


def _of_moved_metal(shot: Any) -> Iterator[Output]:
    for body in shot.bodies:
        if ("outer_radius", body) in shot.history.values:
            yield Output(f"radius ratio of {body}", "", lambda run, body=body: final_ratio(run, "outer_radius", body),
                         lambda run: float(run.times[-1]), of_shape=True)
    for coil in shot.coils:
        if shot.burst(coil):
            yield Output(f"burst time of {coil}", "s", partial(_burst_time, coil=coil), of_shape=True)


def _burst_time(run: Any, coil: str) -> float:
    """When a coil bursts, s; not a number where it does not, or its turns do not move."""
    burst = run.burst(coil) if ("hoop_strain", coil) in run.history.values else None
    return burst.time if burst else math.nan


def _traced(shot: Any) -> Iterator[tuple[str, str]]:
    """Current of coils and bodies, field, the banks' voltage, and radii of bodies that move."""
    places = {"current": (*shot.coils, *shot.bodies), "voltage": shot.bank_places, "outer_radius": shot.bodies}
    for quantity, place in shot.history.values:
        if quantity == "field" or place in places.get(quantity, ()):
            yield quantity, place


def numerical_uncertainties(shot: Any, vector: OutputVector) -> np.ndarray | None:
    """Half the error bounds (m,) of a shot's outputs, 0 where an output has none; None where no run bounds them."""
    if not shot.comparisons:
        return None
    value = vector.evaluate(shot)
    return 0.5 * np.nan_to_num(np.min([_bounds(shot, vector, value, comparison) for comparison in shot.comparisons], axis=0))


def _bounds(shot: Any, vector: OutputVector, value: np.ndarray, comparison: Any) -> np.ndarray:
    """Error bounds (m,) by one of the runs that a shot was compared with."""
    other = vector.evaluate(comparison.run)
    numbers = [float(comparison.bound(value[k], other[k], output.unit)) for k, output in enumerate(vector.outputs)]
    traces = [np.interp(vector.times, shot.times, comparison.series_bound(shot.history, *trace)) for trace in vector.traces]
    return np.concatenate([np.array(numbers), *traces])
