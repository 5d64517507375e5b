"""The current of a record as the fit takes it: samples without gaps, blocks of neighbours where there are very many."""
from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fieldsolve.errors import InputError
from fieldsolve.records.record import Record
from fieldsolve.records.ringdown.start import block_means

MOST_SAMPLES = 20_000             # that the fit takes; more are averaged in blocks
FEWEST_SAMPLES = 20
CURRENT = "current"


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
    times, values = record.samples(CURRENT)
    if len(times) < FEWEST_SAMPLES:
        raise InputError(f"{record.path.name}: {len(times)} samples of the current; a fit needs at least {FEWEST_SAMPLES}")
    if not np.ptp(values):
        raise InputError(f"{record.path.name}: the current does not change; is it the right column?")
    block = -(-len(times) // MOST_SAMPLES)
    return CurrentTrace(record.path.name, *block_means(times, values, block), block, record.scale_uncertainty(CURRENT))
