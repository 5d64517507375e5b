"""Whether the intervals of a ring-down fit hold what they promise: synthetic records with a known loop, some hundreds of them."""
from __future__ import annotations

from dataclasses import dataclass

import numpy as np

import fieldsolve as fs
from benchmarks.closed_forms.discharge import ArcDischarge, SeriesDischarge
from benchmarks.rigs.oscilloscope import Oscilloscope
from fieldsolve.estimate import QUANTILE

COLUMNS = ("of", "records", "intervals that hold the truth", "determined", "width over that of plain least squares: median",
           "largest", "median error")
CAPACITANCE = 120e-6
RECORDS = 300
FEW = 3                           # half-waves of every second record
NAMES = ("inductance", "resistance", "arc_voltage")
STEP = 1e-5                       # relative, of the derivatives of the plain fit


@dataclass(frozen=True)
class Trial:
    """One synthetic record: the loop, the oscilloscope, and times that reach over `half_waves`."""

    loop: ArcDischarge
    scope: Oscilloscope
    half_waves: int
    times: np.ndarray

    @property
    def truth(self) -> dict[str, float]:
        """What the fit must find."""
        return {"inductance": self.loop.circuit.inductance, "resistance": self.loop.circuit.resistance,
                "arc_voltage": self.loop.arc_voltage}

    def record(self, rng: np.random.Generator) -> fs.Record:
        """The record that the oscilloscope writes."""
        values = self.scope.samples(lambda times: current_of(self.loop, times), self.times, rng)
        return fs.Record(times=self.times, values={"current": values}, units={"current": "A"})


def current_of(loop: ArcDischarge, times: np.ndarray) -> np.ndarray:
    """Current in ampere, 0 before the time 0."""
    return np.where(times > 0, loop.current(np.maximum(times, 0.0)), 0.0)


def trial(rng: np.random.Generator, few: bool) -> Trial:
    """A loop and an oscilloscope drawn at random: noise of 1 to 5 %, an arc of 0 to 150 V."""
    while True:
        circuit = SeriesDischarge(CAPACITANCE, rng.uniform(1e3, 6.5e3), rng.uniform(0.4e-6, 2e-6), rng.uniform(3e-3, 20e-3))
        loop = ArcDischarge(circuit, rng.uniform(0.0, 150.0))
        if len(loop.half_waves) >= FEW:
            break
    half_waves = FEW if few else int(rng.integers(5, 13))
    scope = Oscilloscope(noise=rng.uniform(0.01, 0.05), offset=rng.uniform(-0.03, 0.03), jitter=0.2e-6, droop=rng.uniform(0.0, 200.0))
    length = half_waves * circuit.half_period
    return Trial(loop, scope, half_waves, np.linspace(-0.1 * length, length, int(rng.integers(1000, 4000))))


def plain_deviations(one: Trial) -> np.ndarray:
    """Standard deviations of L, R and arc voltage of plain least squares at the true noise, which fits start, offset and voltage too."""
    circuit, arc = one.loop.circuit, one.loop.arc_voltage
    point = np.array([circuit.inductance, circuit.resistance, arc, circuit.voltage, 0.0, 0.0])
    scale = np.array([circuit.inductance, circuit.resistance, 0.01 * circuit.voltage, circuit.voltage, circuit.half_period, 1e3])
    count = len(one.loop.half_waves)

    def current(vector: np.ndarray) -> np.ndarray:
        changed = ArcDischarge(SeriesDischarge(CAPACITANCE, vector[3], vector[0], vector[1]), vector[2])
        values = current_of(changed, one.times - vector[4]) + vector[5]
        return values if len(changed.half_waves) == count else np.full(len(one.times), np.nan)

    columns = [(current(point + STEP * step) - current(point - STEP * step)) / (2 * STEP) for step in np.diag(scale)]
    jacobian = np.array(columns).T
    peak = float(np.abs(current(point)).max())
    covariance = one.scope.deviation(peak) ** 2 * np.linalg.inv(jacobian.T @ jacobian)
    return np.sqrt(covariance.diagonal()[:3]) * scale[:3]


def outcomes(records: int = RECORDS, seed: int = 20) -> list[dict[str, tuple[bool | None, float, float, bool]]]:
    """For each record and parameter: whether the interval holds the truth (None: undetermined), its width over the plain one, the
    relative error, whether the record had few half-waves."""
    rng, found = np.random.default_rng(seed), []
    for number in range(records):
        one = trial(rng, few=number % 2 == 1)
        fit = fs.fit_ring_down(one.record(rng), capacitance=CAPACITANCE)
        found.append({name: _outcome(fit.parameters[name], one.truth[name], plain, number % 2 == 1)
                      for name, plain in zip(NAMES, plain_deviations(one), strict=True)})
    return found


def _outcome(interval: fs.Interval, truth: float, plain: float, few: bool) -> tuple[bool | None, float, float, bool]:
    error = abs(interval.value - truth) / truth if truth else 0.0
    if not interval.determined:
        return None, np.nan, error, few
    return interval.low <= truth <= interval.high, (interval.high - interval.low) / (2 * QUANTILE * plain), error, few


def rows(records: int = RECORDS) -> list[tuple]:
    """A row a parameter, all records and those with few half-waves."""
    found = outcomes(records)
    return [_row(name.replace("_", " "), group, [one[name] for one in found if group == "all" or one[name][3]])
            for name in NAMES for group in ("all", f"{FEW} half-waves")]


def _row(name: str, group: str, found: list[tuple]) -> tuple:
    holds = [entry[0] for entry in found if entry[0] is not None]
    widths = np.array([entry[1] for entry in found])
    return (f"{name}, {group}", len(found), f"{100 * np.mean(holds):.1f} %", f"{100 * len(holds) / len(found):.0f} %",
            f"{np.nanmedian(widths):.3f}", f"{np.nanmax(widths):.2f}", f"{100 * np.median([entry[2] for entry in found]):.2g} %")
