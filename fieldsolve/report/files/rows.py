"""Rows of facts as a table for other programs: .csv."""
from __future__ import annotations

import csv
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from fieldsolve.files import write_atomically
from fieldsolve.files.provenance import provenance_text


def write_rows(path: str | Path, rows: Sequence[Mapping[str, Any]], origin: dict[str, Any]) -> None:
    """Write rows with the same keys under a line of headers, after a line with # that says their `origin`; None is an empty cell.

    Raises OSError where the folder cannot be written to.
    """
    def write(partial: Path) -> None:
        with partial.open("w", encoding="utf-8", newline="") as file:
            file.write(f"# {provenance_text(origin)}\n")
            table = csv.DictWriter(file, list(rows[0]), lineterminator="\n")
            table.writeheader()
            table.writerows(rows)
    write_atomically(path, write)
