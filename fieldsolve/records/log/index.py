"""The index of a log: one row a shot, for a spreadsheet; made anew from the folders, never read."""
from __future__ import annotations

import csv
import os
from collections.abc import Callable
from pathlib import Path
from typing import Any

from fieldsolve.errors import InputError
from fieldsolve.records.log.entry import COMPARISON, RECORD, LogEntry, read_entry
from fieldsolve.records.log.storage import flush_to_disk, locked, partial_path

INDEX, LOCK = "index.csv", ".index.lock"
COLUMNS = ("shot", "created", "title", "case", "prediction_sha256", "records", "predicted_peak_current_A", "measured_peak_current_A",
           "predicted_radius_ratio", "verdict", "missing", "problem")


def index_row(entry: LogEntry) -> dict[str, Any]:
    """One shot as a row of the index."""
    prediction, comparisons = entry.stored["prediction"], entry.current(COMPARISON)
    rows = comparisons[-1].facts["rows"] if comparisons else []
    measured = [row["measured"] for row in rows if row["name"].startswith("peak current")]
    return {
        "shot": entry.name, "created": entry.created, "title": entry.title, "case": Path(entry.stored["case"]["file"]).name,
        "prediction_sha256": prediction["sha256"], "records": len(entry.current(RECORD)),
        "predicted_peak_current_A": next(iter(prediction["peak_current_A"].values()), ""),
        "measured_peak_current_A": measured[0] if measured else "",
        "predicted_radius_ratio": next(iter(prediction["radius_ratio"].values()), ""),
        "verdict": comparisons[-1].facts["verdict"] if comparisons else "", "missing": len(entry.missing()),
        "problem": "",
    }


def _row_or_problem(folder: Path) -> dict[str, Any]:
    """The row of a shot; of one that cannot be read why."""
    try:
        return index_row(read_entry(folder))
    except InputError as error:
        return {"shot": folder.name, "problem": str(error)}


def write_index(folder: Path, list_names: Callable[[], list[str]]) -> None:
    """Write the index of all shots, one process at a time so that the last one has seen every shot."""
    with locked(folder / LOCK):
        partial = partial_path(folder)
        try:
            with partial.open("w", encoding="utf-8", newline="") as file:
                writer = csv.DictWriter(file, COLUMNS)
                writer.writeheader()
                writer.writerows(_row_or_problem(folder / name) for name in list_names())
            flush_to_disk(partial)
            os.replace(partial, folder / INDEX)
            flush_to_disk(folder)
        finally:
            partial.unlink(missing_ok=True)
