"""The result of a sweep: its rows, as dictionaries, arrays, tables of other packages, files and plots."""
from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from fieldsolve.cases.case_file import Case
from fieldsolve.errors import InputError, suggestion
from fieldsolve.sweeps import tables
from fieldsolve.sweeps.inputs import input_numbers, input_unit
from fieldsolve.sweeps.points import Plan
from fieldsolve.sweeps.run import DONE
from fieldsolve.sweeps.store import RunStore
from geometries.keywords import known_keywords

if TYPE_CHECKING:
    from fieldsolve.shot.result.shot import Shot

BESIDE_RESULTS = ("status", "reason", "card", "seconds")


@known_keywords
@dataclass(frozen=True, eq=False, repr=False)
class Sweep:
    """One row a run; made by `sweep`.

    Attributes
    ----------
    case : Case
        The case whose values were changed.
    inputs : tuple of str
        The dotted keys that were changed.
    axes : dict
        Of a grid the values of each key, in order; empty where the points are no grid.
    rows : tuple of dict
        For each point its inputs under their keys, `status` ("done", "failed", "interrupted"), `reason`, the results by name such as
        "current of coil" or "field in bore" in SI, their bounds as "error of ...", the card's verdict as "card", its checks with "margin
        of ...", and `seconds`.  All rows have the same keys; what is not there is None.
    units : dict
        Units of the results by name; none for a pure number.
    store : RunStore or None
        The folder in which the runs are kept.
    run_keys : tuple of (str or None)
        What each row's run is kept under.
    interrupted : bool
        Whether Ctrl-C ended it early.
    """

    case: Case
    inputs: tuple[str, ...]
    axes: Mapping[str, tuple[Any, ...]]
    rows: tuple[dict[str, Any], ...]
    units: Mapping[str, str]
    store: RunStore | None
    run_keys: tuple[str | None, ...]
    interrupted: bool

    @classmethod
    def of(cls, case: Case, plan: Plan, rows: Sequence[dict[str, Any]], units: Mapping[str, str], store: RunStore | None,
           keys: Mapping[int, str], interrupted: bool) -> Sweep:
        """The sweep of a plan and its rows, which get the same keys."""
        found = dict.fromkeys(name for row in rows for name in row)
        columns = [*plan.keys, *(name for name in found if name not in (*plan.keys, "seconds")), "seconds"]
        grid = all(len({*point} ) == 1 for axis in plan.axes for point in axis) and all(len({*map(tuple, axis)}) == 1 for axis in plan.axes)
        axes = {next(iter(axis[0])): tuple(next(iter(point.values())) for point in axis) for axis in plan.axes} if grid else {}
        return cls(case, plan.keys, axes, tuple({name: row.get(name) for name in columns} for row in rows), dict(units), store,
                   tuple(keys.get(number) for number in range(len(rows))), interrupted)

    def __repr__(self) -> str:
        counts = Counter(row["status"] for row in self.rows)
        return f"Sweep({self.case.name!r} over {', '.join(self.inputs)}: {', '.join(f'{n} {status}' for status, n in counts.items())})"

    def __len__(self) -> int:
        return len(self.rows)

    @property
    def columns(self) -> tuple[str, ...]:
        """The keys of every row."""
        return tuple(self.rows[0])

    @property
    def results(self) -> tuple[str, ...]:
        """Names of the results that are numbers."""
        return tuple(name for name in self.columns if name not in (*self.inputs, *BESIDE_RESULTS) and not name.startswith("error of "))

    @property
    def failed(self) -> tuple[dict[str, Any], ...]:
        """The rows that are not done."""
        return tuple(row for row in self.rows if row["status"] != DONE)

    def column(self, name: str) -> np.ndarray:
        """A column as an array (rows,): numbers in SI with NaN for what is not there, also of an input that is a quantity; else text.

        Raises InputError, with the nearest name, for a column that is not there.
        """
        if name not in self.columns:
            raise InputError(f"{name!r}: no such column; {suggestion(name, self.columns)}")
        values = [row[name] for row in self.rows]
        if name in self.inputs:
            return input_numbers(self.case, name, values)
        return tables.as_array(values)

    def unit(self, name: str) -> str:
        """The unit of a column; '' for a pure number."""
        if name in self.inputs:
            return input_unit(self.case, name, [row[name] for row in self.rows]) or ""
        if name == "seconds":
            return "s"
        return self.units.get(name.removeprefix("error of "), tables.check_unit(name))

    def shot(self, number: int) -> Shot:
        """The whole shot of a row, counted from 0; InputError where shots were not kept."""
        from fieldsolve.shot.load import load_shot

        key = self.run_keys[number]
        if self.store is None or key is None or not self.store.shot_path(key).exists():
            raise InputError(f"the shot of row {number} was not kept; sweep with store= and keep_shots=True")
        return load_shot(self.store.shot_path(key))

    def to_dataframe(self):
        """The columns as a pandas DataFrame, inputs in SI; its `attrs["units"]` has the units.  InputError without pandas."""
        return tables.data_frame_of(self)

    def to_xarray(self):
        """The numbers as an xarray Dataset, over the inputs where they are a grid, else over `run`.  InputError without xarray."""
        return tables.dataset_of(self)

    def write_csv(self, path: str | Path) -> None:
        """Write the rows as a table for other programs, headers with units; complete or not at all."""
        tables.write_table(self, path)

    def write_npz(self, path: str | Path) -> None:
        """Write the columns as arrays that `numpy.load` reads; complete or not at all."""
        tables.write_arrays(self, path)

    def plot(self, quantity: str, x: str | None = None, family: str | None = None, ax=None):
        """Curves of a result over an input, one for each value of another; returns the axes.  See `plot_curves` in
        `fieldsolve.report.plots.many.sweep`."""
        from fieldsolve.report.plots.many.sweep import plot_curves

        return plot_curves(self, quantity, x, family, ax)

    def plot_map(self, quantity: str, x: str | None = None, y: str | None = None, ax=None):
        """Contours of a result over two inputs with the card's limits; returns the axes.  See
        `plot_contours` in `fieldsolve.report.plots.many.sweep`."""
        from fieldsolve.report.plots.many.sweep import plot_contours

        return plot_contours(self, quantity, x, y, ax)

    def plot_trade_off(self, x: str, y: str, ax=None):
        """One result against another, what fulfils the card's limits apart from what does not; returns the axes."""
        from fieldsolve.report.plots.many.sweep import plot_trade_off

        return plot_trade_off(self, x, y, ax)
