"""The rows of a sweep as columns for other programs: arrays, CSV, npz, pandas, xarray."""
from __future__ import annotations

import csv
import zipfile
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np

from fieldsolve.errors import InputError
from fieldsolve.files import write_atomically
from fieldsolve.files.provenance import provenance, provenance_text, sign_zip
from fieldsolve.rig.card import CHECK_UNITS


def as_array(values: Sequence[Any]) -> np.ndarray:
    """Numbers with NaN for None; where any is text, all as text, '' for None."""
    if any(isinstance(value, str) for value in values):
        return np.array(["" if value is None else str(value) for value in values])
    return np.array([np.nan if value is None else value for value in values], dtype=float)


def check_unit(name: str) -> str:
    """The unit of a check's value; '' of its margin and of all else."""
    return CHECK_UNITS.get(name, "")


def data_frame_of(sweep):
    """The columns as a pandas DataFrame; InputError where pandas is not installed."""
    try:
        import pandas
    except ImportError:
        raise InputError("to_dataframe needs pandas, which is not installed: pip install pandas; without it column() gives arrays") \
            from None
    frame = pandas.DataFrame({name: sweep.column(name) for name in sweep.columns})
    frame.attrs["units"] = {name: sweep.unit(name) for name in sweep.columns}
    return frame


def dataset_of(sweep):
    """The numbers as an xarray Dataset; InputError where xarray is not installed."""
    try:
        import xarray
    except ImportError:
        raise InputError("to_xarray needs xarray, which is not installed: pip install xarray; without it column() gives arrays") from None
    from fieldsolve.sweeps.inputs import input_numbers

    coordinates = {key: input_numbers(sweep.case, key, values) for key, values in sweep.axes.items()}
    dimensions = tuple(coordinates) or ("run",)
    shape = tuple(map(len, coordinates.values())) or (len(sweep.rows),)
    names = [name for name in sweep.columns if name not in coordinates]
    return xarray.Dataset({name: (dimensions, sweep.column(name).reshape(shape), {"units": sweep.unit(name)}) for name in names},
                          coords=coordinates)


def header(sweep, name: str) -> str:
    """The name of a column with its unit, as 'current of coil [A]'."""
    unit = sweep.unit(name)
    return f"{name} [{unit}]" if unit else name


def write_table(sweep, path: str | Path) -> None:
    """Write the columns under a line of headers, after a line with # that says where they come from; None is an empty cell."""
    columns = [sweep.column(name) if name in sweep.inputs else [row[name] for row in sweep.rows] for name in sweep.columns]

    def write(partial: Path) -> None:
        with partial.open("w", encoding="utf-8", newline="") as file:
            file.write(f"# {provenance_text(provenance(sweep.case.name, sweep.case.text))}\n")
            table = csv.writer(file, lineterminator="\n")
            table.writerow([header(sweep, name) for name in sweep.columns])
            table.writerows(zip(*columns, strict=True))
    write_atomically(path, write)


def write_arrays(sweep, path: str | Path) -> None:
    """Write the columns as arrays by their header."""
    def write(partial: Path) -> None:
        with zipfile.ZipFile(partial, "w", zipfile.ZIP_DEFLATED) as file:
            for name in sweep.columns:
                with file.open(f"{header(sweep, name).replace('/', ' per ')}.npy", "w", force_zip64=True) as entry:
                    np.lib.format.write_array(entry, sweep.column(name), allow_pickle=False)
        sign_zip(partial)
    write_atomically(path, write)
