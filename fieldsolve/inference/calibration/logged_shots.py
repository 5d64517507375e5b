"""Shots of logs as a calibration takes them: case, record, and what was measured after each."""
from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path

import numpy as np

from fieldsolve.cases.case_file import read_case
from fieldsolve.errors import InputError, suggestion
from fieldsolve.inference.calibration.calibrate import ShotRecord
from fieldsolve.inference.runs import EMPTY
from fieldsolve.records.log import LogEntry, ShotLog
from fieldsolve.records.log.comparisons import logged_measurements, logged_record, records_to_compare
from fieldsolve.records.log.entry import ENTRY, read_entry

OF_THE_BANK = ("charge voltage of bank", "reversal of bank")         # which the record of the current says itself


def logged_shots(folders: Iterable[str | Path]) -> tuple[ShotRecord, ...]:
    """All shots that have a record, of logs or of folders of single shots; InputError where there are none.

    A shot's first record counts.  What was measured without a known uncertainty is left out.
    """
    found = tuple(_shot_record(entry) for folder in folders for entry in _entries(Path(folder)))
    if not found:
        raise InputError("no shot with a record; add one: fieldsolve log add SHOT --record FILE.csv")
    return found


def numbers_of(shots: Sequence[ShotRecord], names: Iterable[str]) -> list[int]:
    """Numbers of the shots of these names; InputError with the nearest for an unknown one."""
    known = [shot.name for shot in shots]
    for name in names:
        if name not in known:
            raise InputError(f"--hold-out {name}: there is no such shot with a record; {suggestion(name, known)}")
    return [known.index(name) for name in names]


def _entries(folder: Path) -> Iterator[LogEntry]:
    if (folder / ENTRY).is_file():
        yield read_entry(folder)
        return
    if not folder.is_dir():
        raise InputError(f"{folder}: no such folder; give that of a log, or of one of its shots")
    for entry in ShotLog(folder).entries():
        try:
            records_to_compare(entry)
        except InputError:
            continue
        yield entry


def _shot_record(entry: LogEntry) -> ShotRecord:
    record = logged_record(entry, records_to_compare(entry)[0])
    measured = {name: (value, uncertainty) for name, (value, uncertainty) in logged_measurements(entry).items()
                if uncertainty and name not in OF_THE_BANK}
    measured |= {name: (float(np.mean(value.numbers)), value.uncertainty) for name, value in entry.facts.items()
                 if EMPTY.fullmatch(name) and value.uncertainty}
    return ShotRecord(entry.name, read_case(entry.case_path), record, measured)
