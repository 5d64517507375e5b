"""Coils whose currents are prescribed functions of time, in place of a bank."""
from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from fieldsolve.bounds import check_by_name, is_finite_number
from fieldsolve.circuit.bank import Leads
from fieldsolve.circuit.equations import NO_LEADS, Switches
from geometries.errors import InputError
from geometries.keywords import known_keywords

Waveform = Callable[[float], float] | tuple[Sequence[float], Sequence[float]]
WAVEFORM_SAMPLES = 2000              # of a waveform, to find its size and rate
RELAXATION_TIME = 0.2               # of the run: time constant with which a current returns to the prescribed one
RATE_STEP = 1e-6            # of the run: step in time for the rate of a waveform


@known_keywords
@dataclass(frozen=True)
class PrescribedCurrents:
    """Currents and a field that drive a shot in place of a bank.

    Parameters
    ----------
    currents : mapping of str to callable or (sequence of float, sequence of float), optional
        Ampere per turn by coil: a smooth function of time in s, or (times, values) joined by straight lines.  A function that can be
        imported by name also pickles.  The coil may be a loop or a sheet where the metal is held.  A line current has no series of
        force; flux and voltage of a loop are infinite, and the energies of its field are those of a wire as thin as the cells.
    applied_field : float, optional
        Uniform steady field along z in tesla.  It and the currents at t = 0 were there long before the shot begins.

    Raises
    ------
    InputError
        For a waveform whose times do not rise or that is not a number, and where nothing drives the field.

    Examples
    --------
    >>> drive = PrescribedCurrents({"coil": ([0.0, 20e-6], [0.0, 40e3])})
    >>> ramp = drive.waveforms["coil"]
    >>> ramp(5e-6)
    10000.0
    """

    currents: Mapping[str, Waveform] = field(default_factory=dict)
    applied_field: float = 0.0

    def __post_init__(self) -> None:
        if not is_finite_number(self.applied_field):
            raise InputError(f"applied_field = {self.applied_field!r}: give a finite number of tesla")
        check_by_name("currents", self.currents, "{'coil': ([0.0, 20e-6], [0.0, 40e3])}")
        object.__setattr__(self, "currents", {name: waveform(name, prescribed) for name, prescribed in self.currents.items()})
        if not self.currents and not self.applied_field:
            raise InputError("nothing drives the field: give currents= or applied_field=")

    @property
    def waveforms(self) -> dict[str, Callable[[float], float]]:
        """The currents as functions of time in s, ampere per turn by coil."""
        return {name: waveform(name, prescribed) for name, prescribed in self.currents.items()}


@dataclass(frozen=True)
class PrescribedCurrentNetwork:
    """Equations of coils with prescribed currents I_0; unknowns in the order I, v of each coil; see `Circuit` for the contract.

        R I + dPsi/dt - v = 0,   dI/dt + (I - I_0) / tau = dI_0/dt,   tau a small part of the run

    The derivative makes I a state like the others, so that its rate and the voltage are as accurate as I itself.
    """

    drive: PrescribedCurrents
    end_time: float
    banks: tuple = ()
    crowbar: None = None
    leads: Leads = NO_LEADS

    @property
    def coil_names(self) -> tuple[str, ...]:
        """Names of the coils."""
        return tuple(self.drive.currents)

    @property
    def branches(self) -> tuple[tuple[str, ...], ...]:
        """Each coil is a branch of its own."""
        return tuple((name,) for name in self.coil_names)

    @property
    def size(self) -> int:
        """Number of unknowns."""
        return 2 * len(self.branches)

    @property
    def applied_field(self) -> float:
        """Uniform steady field, tesla."""
        return self.drive.applied_field

    @property
    def voltages(self) -> slice:
        """No unknown is a bank's voltage."""
        return slice(0, 0)

    @property
    def currents(self) -> slice:
        """Unknowns that are currents."""
        return slice(0, len(self.branches))

    def branch_current_index(self, k: int) -> int:
        """Index of a coil's current."""
        return k

    def initial_state(self) -> np.ndarray:
        """Unknowns at t = 0."""
        return np.concatenate([self._prescribed(0.0), np.zeros(len(self.branches))])

    def matrices(self, switches: Switches, coil_resistance: Mapping[str, float], time: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """E, A (size, size) and b (size,) at a time in s; the induced voltages are added to the first rows."""
        count = len(self.branches)
        E, A, b = np.zeros((self.size, self.size)), np.zeros((self.size, self.size)), np.zeros(self.size)
        A[:count, :count], A[:count, count:] = np.diag([coil_resistance[name] for name in self.coil_names]), -np.eye(count)
        tau = RELAXATION_TIME * self.end_time
        E[count:, :count], A[count:, :count] = np.eye(count), np.eye(count) / tau
        b[count:] = self._rate(time) + self._prescribed(time) / tau
        return E, A, b

    def _rate(self, time: float) -> np.ndarray:
        """Rates of the prescribed currents in A/s from three values up to the time, because a corner of a table may lie there."""
        step = RATE_STEP * self.end_time if time > 2 * RATE_STEP * self.end_time else -RATE_STEP * self.end_time
        return (3 * self._prescribed(time) - 4 * self._prescribed(time - step) + self._prescribed(time - 2 * step)) / (2 * step)

    @property
    def corner_times(self) -> tuple[float, ...]:
        """Times of the corners of a prescribed current, on which steps have to end."""
        tables = [prescribed for prescribed in self.drive.waveforms.values() if isinstance(prescribed, PiecewiseLinear)]
        return tuple(sorted({time for table in tables for time in table.times}))

    def scales(self, inductance: float) -> tuple[float, float, float, float]:
        """Largest current (A), a voltage (V), magnetic energy (J) and a first step (s), from the empty coils' inductance in henry."""
        largest = max((np.abs(self._sample(prescribed)).max() for prescribed in self.drive.waveforms.values()), default=0.0)
        first = 1e-3 / max(2 * math.pi * self.frequency, 1 / self.end_time)
        return float(largest) or 1.0, 1.0, 0.5 * inductance * float(largest) ** 2, first

    @property
    def frequency(self) -> float:
        """Root mean square of dI/dt over that of I, over 2 pi, in Hz; at least one cycle in ten runs."""
        rates = [0.1 / self.end_time]
        for prescribed in self.drive.waveforms.values():
            values = self._sample(prescribed)
            slopes = np.diff(values) * WAVEFORM_SAMPLES / self.end_time
            if values.any():
                rates.append(math.sqrt(np.square(slopes).mean() / np.square(values).mean()) / (2 * math.pi))
        return max(rates)

    def _prescribed(self, time: float) -> np.ndarray:
        return np.array([prescribed(time) for prescribed in self.drive.waveforms.values()], dtype=float)

    def _sample(self, prescribed: Callable[[float], float]) -> np.ndarray:
        return np.array([prescribed(time) for time in np.linspace(0, self.end_time, WAVEFORM_SAMPLES + 1)], dtype=float)


@dataclass(frozen=True)
class PiecewiseLinear:
    """A current in A at times in s, straight between them and constant outside."""

    times: tuple[float, ...]
    values: tuple[float, ...]

    def __repr__(self) -> str:
        return f"PiecewiseLinear({len(self.times)} points from {self.times[0]:g} s to {self.times[-1]:g} s)"

    def __call__(self, time: float) -> float:
        return float(np.interp(time, self.times, self.values))


def waveform(name: str, prescribed: Waveform) -> Callable[[float], float]:
    """A function of time from a function or from (times, values).  Raises InputError for anything else."""
    if callable(prescribed):
        return prescribed
    try:
        given_times, given_values = prescribed
    except (TypeError, ValueError):
        raise InputError(f"currents: {name}: give a function of time or (times, values)") from None
    instants = increasing_times(f"currents: times of {name}", given_times, first=-math.inf)
    values = as_numbers(f"currents: values of {name}", given_values)
    if values.shape != (len(instants),) or not np.isfinite(values).all():
        raise InputError(f"currents: {name}: give as many finite values as times ({len(instants)})")
    return PiecewiseLinear(tuple(instants), tuple(values.tolist()))


def increasing_times(name: str, instants: Sequence[float], first: float = 0.0) -> list[float]:
    """Times in s that rise from above `first`.  Raises InputError for others."""
    array = as_numbers(name, instants)
    if array.ndim != 1 or not len(array) or not np.isfinite(array).all() or not array[0] > first or not (np.diff(array) > 0).all():
        raise InputError(f"{name} must be finite numbers that rise" + (" from above 0" if first == 0 else "") + ", in seconds")
    return array.tolist()


def as_numbers(name: str, values: Sequence[float]) -> np.ndarray:
    """An array of floats.  Raises InputError for what are no numbers."""
    try:
        return np.asarray(values, dtype=float)
    except (TypeError, ValueError):
        raise InputError(f"{name} = {values!r:.80}: expected numbers in SI") from None
