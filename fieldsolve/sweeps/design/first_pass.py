"""The first pass of a design: discharges of reduced models, metal held and cold, that say where full runs are worth their time."""
from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from fieldsolve.cases.case_file import Case
from fieldsolve.errors import FieldError
from fieldsolve.sweeps.design.problem import DesignProblem, Limit
from fieldsolve.sweeps.design.reduced_models import ReducedModels
from fieldsolve.sweeps.design.surface import Assessed, ResponseSurface
from fieldsolve.sweeps.points import unit_cube
from fieldsolve.sweeps.run import DONE

MODELS = 4                      # geometries for each free value of the section, and one more
DISCHARGES = 24                 # for each free value, and as many again, over all models
FEWEST = 4                      # discharges of each model
TRIED = 256                     # geometries that are tried, of which some cannot exist
MOVED = ("radius ratio", "thickness ratio", "burst time", "speed", "axial speed", "hoop strain", "plastic strain")


@dataclass(frozen=True)
class Difference:
    """What the first pass says less what full runs say, as shares of these: mean, and the largest with its sign, of `runs` runs."""

    column: str
    mean: float
    largest: float
    runs: int


@dataclass(frozen=True, eq=False, repr=False, kw_only=True)
class FirstPass:
    """What discharges of reduced models say of a design; made by `compute_first_pass`.

    rows           of the discharges, with the inputs, as rows of a sweep
    predicted      the limits that it tells;  limits  those of them that are near somewhere
    surfaces       by column, of the goal, the second quantity and the near limits
    not_predicted  why, by name of what it cannot tell of these
    assessed       where all that it tells are assessed; None without limits
    models         how many sections were reduced, and the `seconds` that these and the discharges took, once the design is there
    reason         why there is none; empty where there is
    """

    problem: DesignProblem
    rows: tuple[dict[str, Any], ...] = ()
    predicted: tuple[Limit, ...] = ()
    limits: tuple[Limit, ...] = ()
    surfaces: Mapping[str, ResponseSurface]
    not_predicted: Mapping[str, str]
    assessed: Assessed | None = None
    models: int = 0
    seconds: float = 0.0
    reason: str = ""

    def __repr__(self) -> str:
        return f"FirstPass({self.reason or f'{len(self.rows)} discharges of {self.models} reduced models'})"

    @property
    def predicts_goal(self) -> bool:
        """Whether it says anything of the goal."""
        return self.problem.goal in self.surfaces

    def margins(self, shares: np.ndarray) -> np.ndarray:
        """Room that is left within each of its limits at shares (n, free values), as shares of the limits; (n, limits)."""
        x = self.problem.features(shares)
        columns = [limit.margins(self.surfaces[limit.column].values_at(x)) for limit in self.limits]
        return np.stack(columns, axis=1) if columns else np.zeros((len(x), 0))

    def with_discharge(self, shares: np.ndarray, row: dict[str, Any]) -> FirstPass:
        """The same with one more discharge, at shares (free values,), for where limits are assessed; the surfaces stay."""
        found = Assessed(self.problem.features(shares[None, :]), np.array([is_assessed(row, self.predicted)]))
        return replace(self, rows=(*self.rows, row), assessed=found.joined(self.assessed))

    def differences(self, shares: np.ndarray, rows: Sequence[Mapping[str, Any]]) -> tuple[Difference, ...]:
        """How far it was from full runs at shares (n, free values), by column."""
        found = []
        for column, surface in self.surfaces.items():
            known = [k for k, row in enumerate(rows) if row["status"] == DONE and row.get(column)]
            if known:
                said, values = surface.values_at(self.problem.features(shares[known])), np.array([rows[k][column] for k in known])
                off = said / values - 1.0
                found.append(Difference(column, float(off.mean()), float(off[np.abs(off).argmax()]), len(known)))
        return tuple(found)


def no_first_pass(problem: DesignProblem, reason: str) -> FirstPass:
    """The first pass that says nothing."""
    return FirstPass(problem=problem, surfaces={}, not_predicted={}, reason=reason)


def compute_first_pass(models: ReducedModels, moving: bool, seed: int, progress: Callable[[], None]) -> FirstPass:
    """Reduce the section of some geometries and discharge many circuits through each; `progress` is called before each model."""
    case, problem = models.case, models.problem
    if not case.banks or case.run.end_time is None:
        return no_first_pass(problem, "the case describes no shot")
    found: list[tuple[np.ndarray, dict[str, Any]]] = []
    for lot in _lots(models, seed):
        progress()
        found += [(shares, row) for shares in lot if (row := models.row(shares)) is not None]
    if len(found) < len(problem.spans) + 3:
        return no_first_pass(problem, models.reasons[-1] if models.reasons else "too few sections can exist between these ends")
    shares, rows = np.array([each for each, _ in found]), [row for _, row in found]
    return _predicted(case, problem, moving, shares, rows)


def _predicted(case: Case, problem: DesignProblem, moving: bool, shares: np.ndarray, rows: list[dict[str, Any]]) -> FirstPass:
    """What the rows of discharges at shares (n, free values) tell."""
    predicted, _ = problem.limits_of(rows, case.limits)
    limits = [limit for limit in predicted if limit.is_near(rows)]
    names = [problem.goal, *([problem.against] if problem.against else [])]
    surfaces = {column: surface for column in dict.fromkeys((*names, *(limit.column for limit in limits)))
                if (surface := _surface(problem, shares, rows, column)) is not None}
    not_predicted = {name: _why_not_predicted(name, moving) for name in (*names, *(limit.column for limit in problem.require))
              if not any(row.get(name) is not None for row in rows)}
    return FirstPass(problem=problem, rows=tuple(rows), predicted=predicted, surfaces=surfaces, not_predicted=not_predicted,
                     limits=tuple(limit for limit in limits if limit.column in surfaces),
                     assessed=_assessed(problem, shares, rows, predicted) if predicted else None)


def _assessed(problem: DesignProblem, shares: np.ndarray, rows: Sequence[Mapping[str, Any]], limits: Sequence[Limit]) -> Assessed:
    return Assessed(problem.features(shares), np.array([is_assessed(row, limits) for row in rows]))


def is_assessed(row: Mapping[str, Any], limits: Sequence[Limit]) -> bool:
    """Whether a row says something of every limit."""
    return all(row.get(limit.column) is not None for limit in limits)


def _surface(problem: DesignProblem, shares: np.ndarray, rows: Sequence[Mapping[str, Any]], column: str) -> ResponseSurface | None:
    known = [k for k, row in enumerate(rows) if row.get(column) is not None]
    if len(known) < len(problem.spans) + 3:
        return None
    return ResponseSurface.of_first_pass(problem.features(shares[known]), np.array([rows[k][column] for k in known], dtype=float))


def _why_not_predicted(name: str, moving: bool) -> str:
    if name.startswith(MOVED):
        return "motion decides it" if moving else "the metal is held"
    return "heating decides it" if name.startswith("temperature") else "a reduced discharge has no such result"


def _lots(models: ReducedModels, seed: int) -> Iterator[np.ndarray]:
    """Points of each geometry with circuits that fill their space, as shares (n, free values)."""
    of_circuit, geometries = models.of_circuit, _geometries(models, seed)
    free, count = int(of_circuit.sum()), max(len(geometries), 1)
    each = max(FEWEST, math.ceil(DISCHARGES * (len(of_circuit) + 1) / count)) if free else 1
    circuits = unit_cube("sobol", free, each * count, seed) if free else np.zeros((count, 0))
    for k, geometry in enumerate(geometries):
        lot = np.tile(geometry, (each, 1))
        lot[:, of_circuit] = circuits[k * each:(k + 1) * each]
        yield models.problem.snapped(lot)


def _geometries(models: ReducedModels, seed: int) -> list[np.ndarray]:
    """Shares (free values,) of the sections to reduce, those of the circuit in the middle: evenly spaced, or filling their space."""
    of_circuit = models.of_circuit
    free, middle = np.flatnonzero(~of_circuit), np.full(len(of_circuit), 0.5)
    if not len(free):
        return [middle]
    wanted = MODELS * len(free) + 1
    tried = np.linspace(0.0, 1.0, wanted)[:, None] if len(free) == 1 else unit_cube("sobol", len(free), TRIED, seed)
    found: list[np.ndarray] = []
    for row in tried:
        shares = middle.copy()
        shares[free] = row
        shares = models.problem.snapped(shares)
        if len(found) < wanted and _exists(models, shares) and not any(np.array_equal(shares, other) for other in found):
            found.append(shares)
    return found


def _exists(models: ReducedModels, shares: np.ndarray) -> bool:
    try:
        models.case.with_values(models.problem.point(shares))
    except FieldError:
        return False
    return True
