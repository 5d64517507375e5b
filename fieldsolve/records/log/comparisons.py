"""Comparisons in the log: what was measured as a comparison takes it, a comparison kept with its traces, and read again."""
from __future__ import annotations

import math
import zipfile
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np

from fieldsolve.errors import InputError
from fieldsolve.files.bundles import check_archive
from fieldsolve.records.comparison.alignment import Alignment
from fieldsolve.records.comparison.compare import Comparison
from fieldsolve.records.comparison.helix import ModelTerm
from fieldsolve.records.comparison.rows import Row
from fieldsolve.records.comparison.trace import Trace
from fieldsolve.records.log.entry import COMPARISON, RECORD, Addition, LogEntry
from fieldsolve.records.log.fields import Value
from fieldsolve.records.log.log import ShotLog
from fieldsolve.records.reading.read import read_record
from fieldsolve.records.record import Channel, Record
from fieldsolve.shot.problem import CaseText

COMPARED = ("diameter of {body}", "thickness of {body} at axis", "thickness of {body} at mid-radius", "thickness of {body} at rim",
            "mass of {body}", "reversal of bank")
TRIGGER = "voltage at trigger"                  # the charge, which is not always what was set
TRACES = ("computed", "measured", "residual")


def logged_measurements(entry: LogEntry) -> dict[str, tuple[float, float | None]]:
    """(mean, standard uncertainty) of what was measured after a shot and a shot predicts, by name.

    The uncertainty is that of the instrument and that of the mean of several values; None where neither is known.
    """
    _, bodies = entry.parts
    found = {"charge voltage of bank": _mean(entry.facts[TRIGGER])} if TRIGGER in entry.facts else {}
    names = [name.replace("{body}", body) for name in COMPARED for body in (bodies if "{body}" in name else ("",))]
    return found | {name: _mean(entry.facts[name]) for name in names if name in entry.facts}


def logged_record(entry: LogEntry, addition: Addition) -> Record:
    """A record of the log with what is known of its channels; InputError where its file is not the one that was stored."""
    for problem in entry.problems():
        if addition.file is not None and addition.file in problem and "not before the shot" not in problem:
            raise InputError(f"{entry.name}: {problem}")
    channels = {role: Channel(**values) for role, values in addition.facts["channels"].items()}
    return read_record(entry.folder / str(addition.file), channels or {"current": Channel(column=1)},
                       time_unit=addition.facts.get("time_unit"))


def keep_comparison(log: ShotLog, name: str, record: Addition, comparison: Comparison) -> LogEntry:
    """Add a comparison to a shot: its facts, and its traces as arrays beside them."""
    facts = {**comparison.facts(), "of_record": record.number, "offset_uncertainty_A": comparison.alignment.offset_uncertainty,
             "coil": comparison.coil, "prediction_sha256": log.entry(name).stored["prediction"]["sha256"]}
    arrays = {f"{trace}_{column}": getattr(getattr(comparison, trace), column) for trace in TRACES for column in ("times", "values")}

    def write(partial: Path) -> None:
        with partial.open("wb") as file:
            np.savez_compressed(file, **arrays)
    return log.add_file(name, COMPARISON, f"{Path(str(record.file)).stem}.npz", write, facts)


def kept_comparison(entry: LogEntry, addition: Addition) -> Comparison:
    """A comparison of the log as it was."""
    facts = addition.facts
    path = entry.folder / str(addition.file)
    try:
        with zipfile.ZipFile(path) as archive:
            check_archive(archive, path.name)
    except zipfile.BadZipFile as error:
        raise InputError(f"{path}: is damaged ({error}); take another copy") from None
    with np.load(path, allow_pickle=False) as arrays:
        traces = {name: Trace(arrays[f"{name}_times"], arrays[f"{name}_values"]) for name in TRACES}
    return Comparison(
        rows=tuple(_row(row) for row in facts["rows"]), coil=facts["coil"], **traces,
        alignment=Alignment(facts["time_zero_s"], facts["u_time_zero_s"], facts["offset_A"], facts["offset_uncertainty_A"]),
        terms=tuple(ModelTerm(term["name"], term["inductance_H"]) for term in facts["model_terms"]), remarks=tuple(facts["remarks"]),
        record_name=facts["record"], record_sha256=facts["record_sha256"], case=CaseText(str(facts["case"]), entry.case_text),
        title=facts["title"])


def records_to_compare(entry: LogEntry) -> tuple[Addition, ...]:
    """Records of a shot; InputError where there is none."""
    records = entry.current(RECORD)
    if not records:
        raise InputError(f"{entry.name}: has no record to compare; add one: fieldsolve log add {entry.name} --record FILE.csv")
    return records


def _mean(value: Value) -> tuple[float, float | None]:
    numbers = np.array(value.numbers)
    spread = float(numbers.std(ddof=1)) / math.sqrt(len(numbers)) if len(numbers) > 1 else None
    known = [u for u in (spread, value.uncertainty) if u]                # equal values say nothing of their uncertainty
    return float(numbers.mean()), math.hypot(*known) if known else None


def _row(facts: Mapping[str, Any]) -> Row:
    keys = ("name", "unit", "computed", "measured", "u_num", "u_input", "u_measured", "contributions", "offsets", "reason")
    return Row(**{key: facts[key] for key in keys})
