"""The current of a record as the fit takes it: samples without gaps, blocks of neighbours where there are very many."""
from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fieldsolve.errors import InputError
from fieldsolve.records.reading.correction import integrated
from fieldsolve.records.record import Record
from fieldsolve.records.ringdown.start import block_means

MOST_SAMPLES = 20_000             # that the fit takes; more are averaged in blocks
FEWEST_SAMPLES = 20
CURRENT, RATE = "current", "current_rate"
REST = 0.1                        # of the largest rate, below which nothing has begun


@dataclass(frozen=True, eq=False)
class CurrentTrace:
    """Current of one record, ampere over seconds.

    block  how many samples of the record each one here is the mean of
    """

    name: str
    times: np.ndarray
    values: np.ndarray
    block: int
    scale_uncertainty: float


def trace_of(record: Record) -> CurrentTrace:
    """The current of a record.  Raises InputError where there is none, or too little of it."""
    times, values = current_samples(record)
    if len(times) < FEWEST_SAMPLES:
        raise InputError(f"{record.path.name}: {len(times)} samples of the current; a fit needs at least {FEWEST_SAMPLES}")
    if not np.ptp(values):
        raise InputError(f"{record.path.name}: the current does not change; is it the right column?")
    block = -(-len(times) // MOST_SAMPLES)
    return CurrentTrace(record.path.name, *block_means(times, values, block), block, scale_uncertainty(record))


def current_samples(record: Record) -> tuple[np.ndarray, np.ndarray]:
    """Times and current of a record; a channel "current_rate" is integrated, its mean before the first rise taken off.

    InputError where there is neither.
    """
    if CURRENT in record.names or RATE not in record.names:
        return record.samples(CURRENT)
    times, rate = record.samples(RATE)
    return times, integrated(times, rate, offset=_rest(rate))


def scale_uncertainty(record: Record) -> float:
    """Relative standard uncertainty of the scale of the current."""
    return record.scale_uncertainty(CURRENT if CURRENT in record.names else RATE)


def _rest(rate: np.ndarray) -> float:
    """Mean of the samples before the first that is a tenth of the largest; 0 where there are few."""
    first = int(np.argmax(np.abs(rate) > REST * np.abs(rate).max()))
    return float(rate[:first].mean()) if first >= FEWEST_SAMPLES else 0.0
