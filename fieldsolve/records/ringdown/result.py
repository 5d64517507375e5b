"""The result of a ring-down fit: the loop's constants with their intervals, the fitted waveforms, and what the record says of the model."""
from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from fieldsolve.estimate import Interval
from fieldsolve.records.ringdown.arc_law import ArcLawCheck
from fieldsolve.records.ringdown.half_waves import HalfWaves
from fieldsolve.records.ringdown.load import Load
from fieldsolve.records.ringdown.summary import ring_down_facts, ring_down_summary
from fieldsolve.records.ringdown.trace import CurrentTrace
from fieldsolve.records.ringdown.waveform import Waveform


@dataclass(frozen=True, eq=False, kw_only=True, repr=False)
class RingDown:
    """Constants of a ringing loop, fitted to its current.  Made by `fit_ring_down`.

    Attributes
    ----------
    parameters : dict
        An `Interval` by name: inductance, resistance, arc_voltage, initial_voltage or gain, arc_ratio (arc over initial voltage),
        start_time, offset, droop_rate of the instrument, frequency; of further records start_time 2 and so on.
    covariance : ndarray
        Of the values, in the order of `parameters`.
    noise : float
        Standard deviation of a sample, ampere.
    correlated_samples : int
        Over how many samples the noise is correlated, 0 for white noise.
    traces, waveforms, residuals : tuple
        What was fitted, a record each; residuals are measured less fitted, ampere.
    half_waves : tuple of HalfWaves
        The test by half-waves, a record each.
    arc_law : ArcLawCheck or None
        The fit with a falling arc, where there are half-waves enough.
    load : Load or None
        What was taken off.
    bank : dict
        Resistance and inductance of the bank alone, empty where no load was given.
    capacitance : tuple
        Value in farad and standard uncertainty, as given.
    skipped : int
        Half-waves that were left out at the start.
    warnings, remarks : tuple of str
        What cannot be told apart or does not fit; what was left out of the records.
    """

    parameters: dict[str, Interval]
    covariance: np.ndarray
    noise: float
    correlated_samples: int
    traces: tuple[CurrentTrace, ...]
    waveforms: tuple[Waveform, ...]
    residuals: tuple[np.ndarray, ...]
    half_waves: tuple[HalfWaves, ...]
    arc_law: ArcLawCheck | None
    load: Load | None
    bank: dict[str, Interval]
    capacitance: tuple[float, float]
    skipped: int
    warnings: tuple[str, ...]
    remarks: tuple[str, ...]

    def correlation(self, one: str, other: str) -> float:
        """Correlation of two parameters, -1 to 1; 0 where one has no uncertainty."""
        names = list(self.parameters)
        k, m = names.index(one), names.index(other)
        product = self.covariance[k, k] * self.covariance[m, m]
        return float(self.covariance[k, m] / np.sqrt(product)) if product > 0 else 0.0

    def report(self) -> str:
        """The fit as text: constants with 95 % intervals, what is undetermined, the test by half-waves, the bank's own."""
        return ring_down_summary(self)

    def facts(self) -> dict[str, Any]:
        """The same as a dictionary for JSON, SI units."""
        return ring_down_facts(self)

    def plot(self, axes=None):
        """Measured and fitted current over the residual; returns the two axes."""
        from fieldsolve.report.plots.records.ringdown import plot_ring_down

        return plot_ring_down(self, axes)

    def __repr__(self) -> str:
        names = [name for name in ("inductance", "resistance", "arc_voltage") if name in self.parameters]
        return f"RingDown({', '.join(f'{name} {self.parameters[name]}' for name in names)})"
