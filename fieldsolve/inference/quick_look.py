"""The inductance that the bank sees, from the record alone: a quick look at a shrinking blank that needs no fit."""
from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from fieldsolve.cases.case_file import Case
from fieldsolve.cases.shot_tables import require_keys
from fieldsolve.errors import InputError
from fieldsolve.estimate import QUANTILE
from fieldsolve.inference.samples import gain_uncertainty, measured_current
from fieldsolve.records.record import Record
from fieldsolve.units import display
from geometries.keywords import known_keywords

if TYPE_CHECKING:
    from fieldsolve.shot.result.shot import Shot

POINTS = 150                    # means that the record is reduced to
LEAST_CURRENT = 0.3             # of the peak: with less, flux over current says nothing
RISING_CURRENT = 0.05           # the same before the peak
FEWEST = 12                     # samples


@known_keywords
@dataclass(frozen=True, eq=False, kw_only=True)
class InductanceFromTrace:
    """The inductance of the coils as the bank sees it.  Made by `inductance_from_trace`.

    Attributes
    ----------
    times : ndarray (n,)
        Seconds of the record, where enough current flows.
    inductance, low, high : ndarray (n,)
        Henry, without bank and leads; with the 95 % band that noise, offset and scale of the record make.
    computed : ndarray (n,) or None
        The same of a shot, None where none was given.
    resistance : float
        Ohm that was taken for bank and leads.

    Examples
    --------
    See `inductance_from_trace`.
    """

    times: np.ndarray
    inductance: np.ndarray
    low: np.ndarray
    high: np.ndarray
    computed: np.ndarray | None
    resistance: float

    def report(self) -> str:
        """First, highest and last value, beside the computed ones."""
        def line(label: str, n: int) -> str:
            beside = "" if self.computed is None else f"; computed {display(float(self.computed[n]), 'H', 4)}"
            return (f"  {label} {display(float(self.times[n]), 's', 3)}: {display(float(self.inductance[n]), 'H', 4)} "
                    f"({display(float(self.low[n]), 'H', 4)} to {display(float(self.high[n]), 'H', 4)}){beside}")
        return "\n".join(["Inductance that the bank sees, from the record alone", line("first", 0),
                          line("highest", int(self.inductance.argmax())), line("last", len(self.times) - 1)])


@known_keywords
def inductance_from_trace(case: Case, record: Record, *, shot: Shot | None = None, start: float = 0.0,
                          coil: str | None = None) -> InductanceFromTrace:
    """Flux over current of the coils from the measured current, the bank's voltage and its known resistance.

        L = (integral of (V_0 - q / C - R i - V_arc sign(i)) dt) / i - L_bank

    Parameters
    ----------
    case : Case
        With a bank; its resistance, inductance and arc voltage are taken as they are.
    record : Record
        With a channel "current" or "current_rate"; a channel "voltage" of the bank takes the place of V_0 - q / C.
    shot : Shot, optional
        Computed, whose integral of the coil's voltage over its current is put beside.
    start : float, optional
        Seconds of the record at which the current starts.
    coil : str, optional
        Of the shot, whose current is the record's; by default the first.

    Returns
    -------
    InductanceFromTrace

    Raises
    ------
    InputError
        For a case without bank, and a record without current or with too few samples.

    Examples
    --------
    >>> from fieldsolve.cases.case_file import read_case
    >>> case = read_case({"coil": {"shape": "loop", "radius": "10 mm"}, "bank": {"capacitance": "100 uF", "voltage": "1 kV"}})
    >>> times = np.linspace(0.0, 20e-6, 2001)                                              # 1 uH, without losses
    >>> record = Record(times=times, values={"current": 1e3 * np.sqrt(100e-6 / 1e-6) * np.sin(times / np.sqrt(1e-6 * 100e-6))})
    >>> print(f"{1e6 * inductance_from_trace(case, record).inductance[-1]:.3f} uH")
    1.000 uH
    """
    require_keys(case.tables, "bank")
    bank, (all_times, all_current) = case.banks[0], measured_current(record)
    before = all_current[all_times < start]
    offset = float(before.mean()) if len(before) >= FEWEST else 0.0
    later = all_times > start
    times = np.concatenate([[0.0], all_times[later] - start])
    current = np.concatenate([[0.0], all_current[later] - offset])
    if len(times) < FEWEST:
        raise InputError(f"{record.path.name}: {len(times)} samples after the start; at least {FEWEST} are needed")
    resistance, known = bank.resistance + case.leads.resistance, bank.inductance + case.leads.inductance
    voltage = _voltage(record, times + start)

    def seen(values: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        charge = _integral(times, values)
        left = (bank.voltage - charge / bank.capacitance if voltage is None else voltage) - resistance * values \
            - bank.arc_voltage * np.sign(values)
        return _means(_integral(times, left)), _means(values)
    flux, mean = seen(current)
    noise = _noise(current) / np.sqrt(max(1, len(times) // POINTS))
    enough = _enough(mean)
    inductance = (flux / np.where(mean == 0, np.inf, mean))[enough] - known
    spread = [(flux / np.where(mean == 0, np.inf, mean) ** 2)[enough] * noise]
    for changed in (current + _noise(current) / np.sqrt(max(len(before), 1)), current * (1 + gain_uncertainty(record))):
        other, other_mean = seen(changed)
        spread.append((other / np.where(other_mean == 0, np.inf, other_mean))[enough] - known - inductance)
    deviation = np.sqrt(np.sum(np.square(spread), axis=0))
    at = _means(times)[enough]
    return InductanceFromTrace(times=at + start, inductance=inductance, low=inductance - QUANTILE * deviation,
                               high=inductance + QUANTILE * deviation, computed=None if shot is None else _computed(shot, coil, at),
                               resistance=resistance)


def _voltage(record: Record, times: np.ndarray) -> np.ndarray | None:
    for name in record.names:
        if (record.channels[name].role or name if name in record.channels else name) == "voltage":
            return np.interp(times, *record.samples(name))
    return None


def _computed(shot: Shot, coil: str | None, times: np.ndarray) -> np.ndarray:
    """Integral of the coils' voltage over the current of a shot."""
    name = coil or shot.coils[0]
    flux = _integral(shot.times, sum(shot.series("voltage", each) for each in shot.coils))
    return np.interp(times, shot.times, flux) / np.interp(times, shot.times, shot.series("current", name))


def _integral(times: np.ndarray, values: np.ndarray) -> np.ndarray:
    return np.concatenate([[0.0], np.cumsum((values[1:] + values[:-1]) * np.diff(times) / 2)])


def _means(values: np.ndarray) -> np.ndarray:
    block = max(1, len(values) // POINTS)
    count = len(values) // block
    return values[:count * block].reshape(count, block).mean(axis=1)


def _noise(values: np.ndarray) -> float:
    """Standard deviation of a sample, from second differences."""
    return float(np.sqrt(np.mean((values[2:] - 2 * values[1:-1] + values[:-2]) ** 2) / 6))


def _enough(current: np.ndarray) -> np.ndarray:
    """Where flux over current says something of the coil."""
    size, top = np.abs(current), int(np.abs(current).argmax())
    return size > np.where(np.arange(len(size)) < top, RISING_CURRENT, LEAST_CURRENT) * size[top]
