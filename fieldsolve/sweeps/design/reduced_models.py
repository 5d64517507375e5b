"""The reduced models behind a first pass, made when a section is first discharged, and the row that a discharge gives."""
from __future__ import annotations

import time as clock
import warnings
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np

from fieldsolve.cases.case_file import Case, read_rig
from fieldsolve.errors import AccuracyWarning, FieldError
from fieldsolve.propagation.inputs import is_of_circuit
from fieldsolve.rig.card import rig_card
from fieldsolve.rig.from_shot import shot_quantities
from fieldsolve.sweeps.card_rows import card_columns
from fieldsolve.sweeps.design.problem import DesignProblem
from fieldsolve.sweeps.results import shot_results
from fieldsolve.sweeps.run import DONE

if TYPE_CHECKING:
    from fieldsolve.shot.reduced.model import ReducedModel

ROOM = 1.05                     # times the highest frequency of the problem's banks, up to which a model is made
FINEST_ACCURACY = 1e-2          # of a model: full runs correct it
MOST_KEPT = 40                  # models, some megabytes each
OF_FREQUENCY = ("capacitance", "inductance")


@dataclass
class ReducedModels:
    """Discharges of a design's points, with the metal held and cold.

    of_circuit  (free values,) whether a value, and all that follows it, leaves the section as it is
    models      the last ones by section; None for one that cannot be reduced, whose reason is the last of `reasons`
    count       how many sections were reduced
    seconds     that all of it took
    """

    case: Case
    problem: DesignProblem
    accuracy: float
    models: dict[tuple[float, ...], ReducedModel | None] = field(default_factory=dict)
    reasons: list[str] = field(default_factory=list)
    count: int = 0
    seconds: float = 0.0

    @classmethod
    def of(cls, case: Case, problem: DesignProblem, accuracy: float | None) -> ReducedModels:
        """None made yet, for runs to a relative accuracy, of the case where it is None."""
        return cls(case, problem, max(accuracy or case.run.accuracy or 0.0, FINEST_ACCURACY))

    @property
    def of_circuit(self) -> np.ndarray:
        follow = self.problem.follow.items()
        return np.array([all(is_of_circuit(key) for key in (span.key, *(name for name, (source, _) in follow if source == span.key)))
                         for span in self.problem.spans])

    def has(self, shares: np.ndarray) -> bool:
        """Whether the section at shares (free values,) is reduced."""
        return self.models.get(self._key(shares)) is not None

    def row(self, shares: np.ndarray) -> dict[str, Any] | None:
        """The row of the discharge at shares (free values,), its section reduced where it is not yet; None where that cannot be."""
        from fieldsolve.field.linear_algebra.blas_threads import one_thread

        started = clock.perf_counter()
        with one_thread(), warnings.catch_warnings():
            warnings.simplefilter("ignore", AccuracyWarning)
            try:
                model = self._model(shares)
                return None if model is None else self._discharged(model, shares)
            except FieldError as error:
                self.reasons.append(str(error))
                return None
            finally:
                self.seconds += clock.perf_counter() - started

    def _discharged(self, model: ReducedModel, shares: np.ndarray) -> dict[str, Any]:
        point = self.problem.point(shares)
        case = self.case.with_values(point)
        run = model.discharge(case.banks, end_time=float(case.run.end_time or 0.0), leads=case.leads, crowbar=case.crowbar,
                              error_bounds=False)
        results = {name: float(value) for name, value in shot_results(run).items() if value is not None}
        return {**point, "status": DONE, **results, **card_columns(rig_card(read_rig(case), shot_quantities(run)))}

    def _model(self, shares: np.ndarray) -> ReducedModel | None:
        key = self._key(shares)
        if key not in self.models:
            self.models[key] = None
            self.models[key] = self._reduced(shares)
            self.count += 1
            if len(self.models) > MOST_KEPT:
                del self.models[next(iter(self.models))]
        return self.models[key]

    def _key(self, shares: np.ndarray) -> tuple[float, ...]:
        return tuple(map(float, shares[~self.of_circuit]))

    def _reduced(self, shares: np.ndarray) -> ReducedModel:
        """The model of a section, for the fastest bank of the problem."""
        from fieldsolve.shot.reduced.solve import highest_frequency, reduce_section

        fastest = np.where([span.key.endswith(OF_FREQUENCY) for span in self.problem.spans] & self.of_circuit, 0.0, shares)
        case = self.case.with_values(self.problem.point(fastest))
        frequency = highest_frequency(case.section, case.banks, case.leads, float(case.run.end_time or 0.0))
        return reduce_section(case.section, accuracy=self.accuracy, frequency=ROOM * frequency)
