"""The best design of a case: runs chosen one batch after the other, the frontier, and the band of the answer."""
from __future__ import annotations

from collections.abc import Mapping, Sequence
from concurrent.futures import Executor
from pathlib import Path
from typing import Any

import numpy as np

from fieldsolve.bounds import check_accuracy
from fieldsolve.cases.case_file import Case, read_case
from fieldsolve.errors import InputError
from fieldsolve.field.linear_algebra.blas_threads import one_thread
from fieldsolve.sweeps.design.problem import ALL, read_problem
from fieldsolve.sweeps.design.result import Design
from fieldsolve.sweeps.design.search import BATCH, FIRST_RUNS, Search
from fieldsolve.sweeps.executors import choose_workers, kept_open
from fieldsolve.sweeps.points import Plan
from fieldsolve.sweeps.results import ENERGY
from fieldsolve.sweeps.run import RunOptions
from fieldsolve.sweeps.store import open_store
from fieldsolve.sweeps.sweep import Progress, check_plan
from geometries.keywords import known_keywords


@known_keywords
@one_thread()
def design(case: str | Path | Mapping[str, Mapping[str, Any]] | Case, vary: Mapping[str, Sequence[Any]], *, largest: str | None = None,
           smallest: str | None = None, against: str | None = ENERGY, limits: str | Sequence[str] = ALL,
           require: Mapping[str, Sequence[Any]] | None = None, follow: Mapping[str, Sequence[Any]] | None = None, runs: int = 40,
           workers: int | None = None, store: str | Path | None = None, executor: Executor | None = None, scheduler: str | None = None,
           accuracy: float | None = None, held: bool = False, card: bool = False, first_pass: bool = True, seed: int = 0,
           progress: Progress | None = None) -> Design:
    """Find the values of a case that make a result largest, or smallest, within the limits of the card.

    A first pass of reduced discharges finds where full runs are worth it, and a Gaussian process through these which promise most, so
    that few are needed.  The answer is a run that was computed, with error bounds, not a point of the response.

    Parameters
    ----------
    case : str, Path, mapping or Case
        As for `read_case`.  Values with an uncertainty, such as "120 uF +- 3 %", give the answer its band.
    vary : mapping of str to (low, high)
        The free values by dotted key, with both ends: {"coil.turns": (4, 12), "bank.voltage": ("4 kV", "7 kV")}.  Between two whole
        numbers the value stays whole.
    largest, smallest : str
        The goal, one of them: a column of `Sweep.rows` such as "field in bore", "radius ratio of disc" or "energy of bank".
    against : str, optional
        A second column that is to be small: the result holds the frontier of the two.  None: only the best.
    limits : str or sequence of str, optional
        Checks of the card that must be within: "all", "stops" (the hard ones), or names as below [limits].  Those that the free values do
        not bear on are reported and left out.
    require : mapping of str to (str, float), optional
        Limits of other columns in SI: {"radius ratio of disc": ("at most", 0.8)}.
    follow : mapping of str to (str, float), optional
        Keys that are a factor times a free value: {"coil.pitch": ("coil.wire_diameter", 1.1)}.
    runs : int, optional
        The most runs of the search with its frontier; the band needs up to two more for each uncertain value, the answer one with error
        bounds.
    workers, store, executor, scheduler, accuracy, held, card, progress
        As for `sweep`.
    first_pass : bool, optional
        Whether discharges of reduced models, metal held and cold, come first and say where full runs are worth it.  Of a shot that costs
        about as much as a held shot for each of a few sections.  `Design.first_pass` shows how far it was from the full runs.
    seed : int, optional
        The same seed finds the same answer.

    Returns
    -------
    Design
        Its `best` is a row, or None where no run met the limits; `binding` then names those that were never met.

    Raises
    ------
    InputError
        For an unknown goal, key or check, ends that do not go together, too few runs; and as `sweep`.

    Examples
    --------
    >>> import fieldsolve as fs
    >>> case = {"coil": {"shape": "ring", "radius": "20 mm", "wire_diameter": "2 mm", "material": "copper", "current": "1 kA"},
    ...         "field": {"accuracy": 1e-2}}
    >>> found = fs.design(case, {"coil.radius": ("15 mm", "40 mm")}, largest="field at centre", against=None, workers=1, runs=10,
    ...                   require={"inductance of coil": ("at least", 100e-9)})
    >>> print(f"{float(found.best['coil.radius'].split()[0]):.0f} mm;", *found.binding)
    23 mm; inductance of coil
    """
    case, problem = read_case(case), read_problem(vary, _goal(largest, smallest), smallest=smallest is not None,
                                                  against=against if against not in (largest, smallest) else None, limits=limits,
                                                  require=require, follow=follow)
    _check_runs(runs, len(problem.spans))
    check_plan(case, Plan((tuple(problem.point(np.full(len(problem.spans), share)) for share in (0.0, 1.0)),)))
    options = RunOptions(accuracy=None if accuracy is None else check_accuracy(accuracy), held=held, error_bounds=False, card=card)
    with kept_open(choose_workers(workers, executor, scheduler, BATCH)) as kept:
        search = Search(case, problem, options, kept, None if store is None else open_store(store, case), runs, seed, bool(first_pass),
                        progress)
        search.find()
        return search.answer()


def _goal(largest: str | None, smallest: str | None) -> str:
    if (largest is None) == (smallest is None):
        raise InputError("give one goal: largest='field in bore', or smallest='energy of bank'")
    return largest or smallest or ""


def _check_runs(runs: int, dimensions: int) -> None:
    least = FIRST_RUNS * dimensions + BATCH
    if isinstance(runs, bool) or not isinstance(runs, int) or runs < least:
        raise InputError(f"runs = {runs!r}: {dimensions} free values need {least} at least")
