"""What a record should show, as a function of the unknowns: parameters, time zero, offset, the model's errors; and its derivatives."""
from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from fieldsolve.inference.parameters import Parameter
from fieldsolve.inference.samples import RecordSamples
from fieldsolve.inference.statistics.discrepancy import MODES, CurrentModes, Sizes, all_sizes
from fieldsolve.inference.statistics.posterior import ErringTrace, LinearData, Posterior, condition
from fieldsolve.inference.surrogate import Surrogate

OFFSET = 0.05                   # of the largest sample: standard deviation of the offset's prior
INNER_ITERATIONS = 4            # of the linearisation, which needs no shot


@dataclass(frozen=True)
class Measurement:
    """What was measured after the shot.

    name         of the scalar of a run that it shows
    value        SI
    uncertainty  standard, SI
    of_radius    how it moves with the last radius of the part: 1 for a radius, 2 for a diameter, 0 for anything else
    """

    name: str
    value: float
    uncertainty: float
    of_radius: float = 0.0


@dataclass(frozen=True, eq=False, kw_only=True)
class Observation:
    """One record of one shot, and what its current does when the radius or the mesh err.

    parameters   as in the surrogate
    samples      of the current
    rise         seconds to the current's first peak
    shapes       (n, k) errors of the radius in metres of unit unknowns, on the run's times
    response     (n, k) errors of the current that go with them, ampere
    answers      (n, k) the same of the other channels' series, by name
    modes        of the current's error, by correlation length in seconds, at the samples that count
    counts       (m,) which samples count: those before the end of what the model can follow
    numerical    (n,) the part of the current that a standard deviation of the numerical error makes, ampere; zero before it is known
    numerical_radius  (n,) the same of the radius, metres
    measured     what was measured after the shot
    others       channels that are no current, and the modes of their model's errors by correlation length, see `others_rows`

    The unknowns are, in this order, p parameters in standard deviations of their priors, the start in `samples.start_deviation`, the
    offset in OFFSET of the largest sample, the scale of each other channel in its standard uncertainty, k deviations of the radius, and
    the numerical error.
    """

    parameters: tuple[Parameter, ...]
    samples: RecordSamples
    rise: float
    shapes: np.ndarray
    response: np.ndarray
    modes: Mapping[float, CurrentModes]
    counts: np.ndarray
    numerical: np.ndarray
    numerical_radius: np.ndarray
    measured: tuple[Measurement, ...] = ()
    others: tuple[tuple[RecordSamples, Mapping[float, CurrentModes]], ...] = ()
    answers: Mapping[str, np.ndarray] = field(default_factory=dict)

    @property
    def size(self) -> int:
        """Number of unknowns."""
        return self.motion.stop + 1

    @property
    def motion(self) -> slice:
        """Where the unknowns are that are errors of the push and of the flow stress."""
        return slice(self.scales.stop, self.scales.stop + 2 * MODES)

    @property
    def scales(self) -> slice:
        """Where the scales of the other channels are."""
        first = len(self.parameters) + 2
        return slice(first, first + len(self.others))

    def start(self, unknowns: np.ndarray) -> float:
        """Seconds of the record at which the current starts."""
        return self.samples.start + self.samples.start_deviation * float(unknowns[len(self.parameters)])

    @property
    def offset_scale(self) -> float:
        """Standard deviation of the offset's prior, ampere."""
        return OFFSET * self.samples.scale

    def gain(self, unknowns: np.ndarray) -> float:
        """Factor between the current and the record."""
        return next((p.at(float(x)) for p, x in zip(self.parameters, unknowns, strict=False) if p.is_gain), 1.0)

    def radius_rows(self, surrogate: Surrogate) -> np.ndarray:
        """Derivatives (n, size) of the radius by the unknowns."""
        return self._rows(surrogate.slopes["radius"], self.shapes, self.numerical_radius)

    def parameter_rows(self, surrogate: Surrogate, name: str) -> np.ndarray:
        """Derivatives (n, size) of another series by the unknowns."""
        slopes = surrogate.slopes[name]
        return self._rows(slopes, np.zeros((slopes.shape[1], 2 * MODES)), np.zeros(slopes.shape[1]))

    def _rows(self, slopes: np.ndarray, shapes: np.ndarray, numerical: np.ndarray) -> np.ndarray:
        nothing = np.zeros((slopes.shape[1], self.motion.start - len(self.parameters)))
        return np.column_stack([slopes.T, nothing, shapes, numerical])

    def predict(self, surrogate: Surrogate, unknowns: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """What the samples should be, (m,), and the derivatives (m, size)."""
        count = len(self.parameters)
        x, deviations, error = unknowns[:count], unknowns[self.motion], float(unknowns[-1])
        grid, gain = surrogate.run.times, self.gain(unknowns)
        times = self.samples.times - self.start(unknowns)
        current = surrogate.at("current", x) + self.response @ deviations + error * self.numerical
        rate = surrogate.at("current_rate", x)

        def seen(columns: np.ndarray) -> np.ndarray:
            return _interpolated(grid, columns, times)
        shown = seen(current[:, None])[:, 0]
        slopes = gain * seen(surrogate.slopes["current"].T)
        for k, parameter in enumerate(self.parameters):
            if parameter.is_gain:
                slopes[:, k] = parameter.deviation * (gain if parameter.logarithmic else 1.0) * shown
        jacobian = np.column_stack([
            slopes, -gain * self.samples.start_deviation * seen(rate[:, None])[:, 0], np.full(len(times), self.offset_scale),
            np.zeros((len(times), len(self.others))), gain * seen(self.response), gain * seen(self.numerical[:, None])])
        return gain * shown + self.offset_scale * unknowns[count + 1], jacobian

    def unknown_deviations(self, size: float) -> np.ndarray:
        """Standard deviations (size,) of the unknowns before any record, for one size of the errors of push and flow stress."""
        found = np.ones(self.size)
        found[self.motion] = size
        return found

    def prior_deviations(self, surrogate: Surrogate) -> np.ndarray:
        """Standard deviations (n,) of the radius before any record, over all sizes of the model's error."""
        rows, choices = self.radius_rows(surrogate), all_sizes(self.rise)
        variance = sum(sizes.weight * sizes.motion**2 for sizes in choices) / sum(sizes.weight for sizes in choices)
        return np.sqrt(((rows * self.unknown_deviations(math.sqrt(variance))) ** 2).sum(axis=1))

    def infer(self, surrogate: Surrogate, unknowns: np.ndarray, choices: Sequence[Sizes]) -> tuple[list[Posterior], float]:
        """The posterior for each choice of sizes, linearised about `unknowns`; and the standard deviation of the noise of a sample."""
        linear = self.linearised(surrogate, unknowns)
        turned = {length: linear.turned(length) for length in self.modes}
        return [condition(*turned[sizes.length], linear.turned_variances(sizes), self.unknown_deviations(sizes.motion))
                for sizes in choices], linear.noise

    def linearised(self, surrogate: Surrogate, unknowns: np.ndarray) -> LinearData:
        """Everything that was measured as a linear function of the unknowns, about some of them."""
        predicted, jacobian = self.predict(surrogate, unknowns)
        noise, counts = self.samples.noise(predicted), self.counts
        rows, values, variances = self._measured_rows(surrogate)
        found = [(jacobian[counts], (self.samples.values - predicted + jacobian @ unknowns)[counts], np.full(counts.sum(), noise**2)),
                 (rows, values, variances)]
        traces = [ErringTrace(0, self.samples.scale, self.modes)]
        for number, (samples, modes) in enumerate(self.others):
            slopes, seen, other = self.others_rows(surrogate, unknowns, number)
            traces.append(ErringTrace(sum(len(data) for _, data, _ in found), samples.scale, modes))
            found.append((slopes, seen, np.full(len(seen), other**2)))
        slopes, data, spread = (np.concatenate(columns) for columns in zip(*found, strict=True))
        return LinearData(slopes, data, spread, noise, tuple(traces))

    def others_rows(self, surrogate: Surrogate, unknowns: np.ndarray, number: int) -> tuple[np.ndarray, np.ndarray, float]:
        """Derivatives (m, size), values (m,) and noise of a channel that is no current."""
        samples, count, grid = self.others[number][0], len(self.parameters), surrogate.run.times
        times = np.clip(samples.times - self.start(unknowns), 0.0, grid[-1])
        answer = self.answers.get(samples.name, np.zeros_like(self.shapes))
        series = surrogate.at(samples.name, unknowns[:count]) + answer @ unknowns[self.motion]
        predicted = np.interp(times, grid, series)
        place = self.scales.start + number
        rows = np.zeros((len(times), self.size))
        rows[:, :count] = np.column_stack([np.interp(times, grid, slope) for slope in surrogate.slopes[samples.name]])
        rows[:, count] = -self.samples.start_deviation * np.where(times > 0, np.interp(times, grid, np.gradient(series, grid)), 0.0)
        rows[:, place] = samples.scale_uncertainty * predicted
        rows[:, self.motion] = np.column_stack([np.interp(times, grid, column) for column in answer.T])
        predicted = (1 + samples.scale_uncertainty * unknowns[place]) * predicted
        return rows, samples.values - predicted + rows @ unknowns, samples.noise(predicted)

    def row_of(self, surrogate: Surrogate, found: Measurement) -> np.ndarray:
        """Derivatives (1, size) of what was measured by the unknowns."""
        slopes = surrogate.slopes[found.name]
        return self._rows(slopes, found.of_radius * self.shapes[-1:], found.of_radius * self.numerical_radius[-1:])

    def _measured_rows(self, surrogate: Surrogate) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Derivatives, values and variances of what was measured, as of functions that are zero where the unknowns are."""
        rows, values = np.zeros((len(self.measured), self.size)), np.zeros(len(self.measured))
        for k, found in enumerate(self.measured):
            rows[k] = self.row_of(surrogate, found)[0]
            values[k] = found.value - float(surrogate.values(found.name)[0]) + float(surrogate.slopes[found.name][:, 0] @ surrogate.x)
        return rows, values, np.array([found.uncertainty**2 for found in self.measured])


def _interpolated(grid: np.ndarray, columns: np.ndarray, times: np.ndarray) -> np.ndarray:
    """Columns (n, k) on a uniform grid, interpolated at times (m,); zero before the grid, the last value behind it."""
    place = np.clip((times - grid[0]) / (grid[1] - grid[0]), 0.0, len(grid) - 1)
    before = np.minimum(place.astype(int), len(grid) - 2)
    share = (place - before)[:, None]
    found = columns[before] * (1 - share) + columns[before + 1] * share
    return np.where((times < grid[0])[:, None], 0.0, found)
