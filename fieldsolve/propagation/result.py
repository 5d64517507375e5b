"""Bands on the results of a shot: 95 % intervals of its quantities and traces, and which input they come from."""
from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from fieldsolve.errors import InputError, suggestion
from fieldsolve.propagation.text import bands_facts, bands_text
from fieldsolve.shot.problem import CaseText
from geometries.keywords import known_keywords

LARGEST_DIFFERENCE = 0.2           # of the band's half-width: where linear propagation differs by more it does not hold
LARGEST_RESIDUAL = 0.3             # of the standard uncertainty: more is no surface that follows the shots


@known_keywords
@dataclass(frozen=True, kw_only=True)
class Band:
    """The 95 % interval of one quantity; numbers in SI.

    Parameters
    ----------
    name, unit : str
    value : float
        Of the shot at the best estimates of the inputs.
    time : float or None
        When it is read, seconds.
    low, high, median : float
        Quantiles at 2.5, 97.5 and 50 %, of the inputs' distributions and the numerical error together.
    standard_uncertainty : float
        From the inputs.
    numerical_uncertainty : float or None
        Standard uncertainty from the numerical error, half its bound; None where it is not known.
    tolerance : float
        Numerical tolerance: half of the last significant digit of the standard uncertainty.
    settled : bool
        Whether enough was drawn for the results to be steady within the tolerance.
    linear_low, linear_high : float
        The interval by linear propagation.
    residual : float or None
        Standard deviation of shots at random about what the band was computed from; None where there were none.
    first_order, total : mapping
        Sensitivity indices by input: the share of the variance that it causes alone, and with the others.
    unexplained : float
        Share of the variance that the response behind these indices leaves.
    method : str
        What it was computed from.

    Examples
    --------
    >>> band = Band(name="peak current of coil", unit="A", value=50e3, time=17e-6, low=49e3, high=51e3, median=50e3,
    ...             standard_uncertainty=500.0, numerical_uncertainty=20.0, tolerance=50.0, settled=True,
    ...             linear_low=49.02e3, linear_high=50.98e3,
    ...             residual=20.0,
    ...             first_order={"bank.voltage": 0.9}, total={"bank.voltage": 0.9}, unexplained=0.0, method="")
    >>> band.linear_holds, round(band.linear_difference, 2)
    (True, 0.02)
    """

    name: str
    unit: str
    value: float
    time: float | None
    low: float
    high: float
    median: float
    standard_uncertainty: float
    numerical_uncertainty: float | None
    tolerance: float
    settled: bool
    linear_low: float
    linear_high: float
    residual: float | None
    first_order: Mapping[str, float]
    total: Mapping[str, float]
    unexplained: float
    method: str

    @property
    def linear_difference(self) -> float:
        """Largest distance between the ends by linear propagation and the band's own, over its half-width."""
        half = 0.5 * (self.high - self.low)
        return max(abs(self.linear_low - self.low), abs(self.linear_high - self.high)) / half if half else 0.0

    @property
    def linear_holds(self) -> bool:
        """Whether linear propagation is within 20 % of the band's half-width."""
        return self.linear_difference <= LARGEST_DIFFERENCE

    @property
    def follows_shots(self) -> bool:
        """Whether the shots at random lie near what the band was computed from; True where there were none."""
        return self.residual is None or self.residual <= LARGEST_RESIDUAL * self.standard_uncertainty


@dataclass(frozen=True, eq=False, kw_only=True)
class TraceBand:
    """The 95 % interval of a series at each of its times.

    quantity, place, unit  as of a shot's series
    times                  (k,) seconds
    value, low, high, median  (k,) in SI
    """

    quantity: str
    place: str
    unit: str
    times: np.ndarray
    value: np.ndarray
    low: np.ndarray
    high: np.ndarray
    median: np.ndarray


@dataclass(frozen=True, kw_only=True)
class UncertainInput:
    """An input and its distribution: 'rectangular' or 'normal'; `correlated_with` names others that vary with it.  Numbers in SI."""

    key: str
    unit: str
    value: float
    standard_uncertainty: float
    distribution: str
    correlated_with: tuple[str, ...] = ()


@known_keywords
@dataclass(frozen=True, eq=False, kw_only=True)
class Bands:
    """95 % bands of a shot.  Made by `bands`; reading it computes nothing.

    Parameters
    ----------
    rows : tuple of Band
        One for each quantity.
    traces : tuple of TraceBand
    inputs : tuple of UncertainInput
    draws : int
        Number of draws of the Monte Carlo.
    shots : int
        Number of full shots that were computed.
    checks : int
        How many of them were at random.
    seed : int
        With it the same bands come out to the last bit.
    held : bool
        Whether the metal was held still in the full shots that vary the inputs.
    title : str
        What was computed.
    remarks : tuple of str
        What a reader must know.
    case : CaseText
        The case with its uncertainties.

    Examples
    --------
    >>> Bands(rows=(), traces=(), inputs=(), draws=2000, shots=5, checks=4, seed=0, held=True, title="a shot", remarks=(),
    ...       case=CaseText("press.toml", ""))
    Bands(press.toml: 0 quantities, 0 inputs, 2000 draws)
    """

    rows: tuple[Band, ...]
    traces: tuple[TraceBand, ...]
    inputs: tuple[UncertainInput, ...]
    draws: int
    shots: int
    checks: int
    seed: int
    held: bool
    title: str
    remarks: tuple[str, ...]
    case: CaseText

    def __repr__(self) -> str:
        return f"Bands({self.case.name}: {len(self.rows)} quantities, {len(self.inputs)} inputs, {self.draws} draws)"

    def band(self, name: str) -> Band:
        """The band of a quantity by name; InputError where there is none."""
        for row in self.rows:
            if row.name == name:
                return row
        raise InputError(f"no band of {name!r}; {suggestion(name, [row.name for row in self.rows])}")

    def trace(self, quantity: str, place: str) -> TraceBand:
        """The band of a series; InputError where there is none."""
        for trace in self.traces:
            if (trace.quantity, trace.place) == (quantity, place):
                return trace
        known = ", ".join(f"{trace.quantity} of {trace.place}" for trace in self.traces)
        raise InputError(f"no band of the series {quantity!r} of {place!r}; there are {known}")

    @property
    def settled(self) -> bool:
        """Whether every quantity is settled to its tolerance."""
        return all(row.settled for row in self.rows)

    def report(self) -> str:
        """One screen for a person in a workshop."""
        return bands_text(self)

    def facts(self) -> dict:
        """Everything but the traces as plain data for JSON, in SI."""
        return bands_facts(self)

    def plot(self, axes=None):
        """The traces with their bands; returns the axes."""
        from fieldsolve.report.plots.propagation.traces import plot_bands
        return plot_bands(self, axes)

    def plot_sensitivities(self, axes=None):
        """What matters: first-order and total indices of each input as bars; returns the axes."""
        from fieldsolve.report.plots.propagation.indices import plot_indices
        return plot_indices(self, axes)
