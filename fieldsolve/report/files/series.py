"""The series of a shot as a table, one row an instant: .csv or .npz."""
from __future__ import annotations

import csv
import json
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from fieldsolve.files import write_atomically
from fieldsolve.files.provenance import provenance, provenance_text, sign_zip
from fieldsolve.report.files.suffix import check_suffix
from fieldsolve.shot.display.table import shot_columns

if TYPE_CHECKING:
    from fieldsolve.shot.result.shot import Shot

def write_csv(shot: Shot, path: str | Path) -> None:
    """Write the columns with a line of headers; a file that cannot be completed is not left there.

    Lines with # before the headers say by which version, when and from which case it was written, where the shot was interrupted, and
    from when on it is beyond the model.

    Raises InputError for a suffix other than .csv, OSError where the folder cannot be written to.
    """
    write_columns(shot, path, shot_columns(shot))


def write_columns(shot: Shot, path: str | Path, columns: Mapping[str, Sequence[float]]) -> None:
    """Write columns that were read off a shot, as `write_csv` writes its series."""
    check_suffix("table", path, (".csv",))

    def write(partial: Path) -> None:
        with partial.open("w", encoding="utf-8", newline="") as file:
            if shot.interrupted:
                file.write(f"# INTERRUPTED at {shot.times[-1]:.6g} s, before the end of the shot\n")
            if shot.validity_end is not None:
                file.write(f"# BEYOND THE MODEL from {shot.validity_end:.6g} s on: {shot.validity_reason}\n")
            file.write(f"# {provenance_text(_provenance(shot))}\n")
            rows = csv.writer(file, lineterminator="\n")
            rows.writerow(columns)
            rows.writerows([f"{value:.9g}" for value in row] for row in zip(*columns.values(), strict=True))
    write_atomically(path, write)


def write_npz(shot: Shot, path: str | Path) -> None:
    """Write the arrays of `shot_columns` under the same names; a file that cannot be completed is not left there.

    Beside them stand `interrupted`, `provenance`, which is JSON text, and where the shot leaves the model `beyond_the_model_from` in s.

    Raises InputError for a suffix other than .npz, OSError where the folder cannot be written to.
    """
    check_suffix("table", path, (".npz",))
    beyond = {} if shot.validity_end is None else {"beyond_the_model_from": np.array(shot.validity_end)}

    def write(partial: Path) -> None:
        np.savez_compressed(partial, **shot_columns(shot), interrupted=np.array(shot.interrupted),
                            provenance=np.array(json.dumps(_provenance(shot))), **beyond)
        sign_zip(partial)
    write_atomically(path, write)


def _provenance(shot: Shot) -> dict[str, Any]:
    return provenance(*(shot.case.name, shot.case.text) if shot.case else ())
