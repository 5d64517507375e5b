"""How the results of a shot move with the inputs of its case: the shot once more for each, one input changed."""
from __future__ import annotations

import tomllib
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from fieldsolve.cases.case_file import Case, read_case
from fieldsolve.cases.solve import solve_case_shot
from fieldsolve.cases.table_keys import RIG_TABLES
from fieldsolve.errors import GeometryError, InputError

if TYPE_CHECKING:
    from fieldsolve.shot.result.shot import Shot

ACCURACY = 3e-2            # of the shots that are compared with each other: their peaks are 0.1 % off, all in the same way
SMALLEST_STEP = 0.01       # of an input: a smaller uncertainty is taken from a step of this share, which the cells' noise does not spoil
OF_LEADS = ("leads.resistance", "leads.inductance")
NO_INPUTS = ("current", "rated_voltage", "rated_reversal", "rated_current")     # keys that no shot depends on
LEADS_INDUCTANCE = "leads.inductance"


@dataclass(frozen=True, eq=False)
class ChangedShot:
    """A shot with one input changed.

    key          dotted, as in the case
    uncertainty  standard, in SI
    step         by which the input was changed, in SI
    """

    key: str
    uncertainty: float
    step: float
    shot: Shot

    def contribution(self, base: Shot, evaluate: Callable[[Shot], float]) -> float:
        """What the input's uncertainty adds to that of a quantity:  |q(x + step) - q(x)| u / |step|."""
        return abs(evaluate(self.shot) - evaluate(base)) * self.uncertainty / abs(self.step)


@dataclass(frozen=True, eq=False)
class Sensitivities:
    """Shots of one case that differ in one input each.

    base      with no input changed
    changed   one for each uncertain input
    with_term the shot with the inductance `term` in series that the model leaves out, None where there is none
    held      whether the metal is held still in them
    """

    base: Shot
    changed: tuple[ChangedShot, ...]
    with_term: Shot | None
    held: bool


def case_of_shot(shot: Shot) -> Case:
    """The case that a shot came from; InputError where it came from none, or names a material file that is not there."""
    if shot.case is None:
        raise InputError("the shot came from no case file")
    return replace(read_case(tomllib.loads(shot.case.text)), name=shot.case.name)


def check_case(shot: Shot, case: Case) -> None:
    """Refuse a case whose parts or banks are not the shot's: InputError.  Its uncertainties may be others."""
    banks = shot.problem.bank if isinstance(shot.problem.bank, (tuple, list)) else (shot.problem.bank,)
    computed, given = ([(part.name, part.zones) for part in parts] for parts in (shot.section.parts, case.parts))
    if tuple(banks) != case.banks or computed != given:
        raise InputError(f"{case.name}: is not the case of this shot, its parts or its bank are others; compute the shot of this case")


def uncertain_inputs(case: Case) -> dict[str, tuple[float, float]]:
    """(value, standard uncertainty) in SI by dotted key of the inputs that a shot depends on."""
    return {key: value for key, value in case.uncertainties.items() if _is_input(key)}


def solve_sensitivities(case: Case, shot: Shot, held: bool, term: float, progress: Callable[[str], None] | None = None, *,
                        vary: bool = True) -> Sensitivities:
    """Compute the shots: one for each uncertain input of the case, and one with the inductance `term` in henry in series.

    held  the metal held still, which is quicker;  vary  whether the inputs are varied
    progress  called with what is computed next
    """
    accuracy = max(shot.accuracy, ACCURACY)
    report = progress or (lambda text: None)

    def solve(changed: Case) -> Shot:
        return solve_case_shot(changed, accuracy, held, error_bounds=False)        # no bound of theirs is read
    same = shot.accuracy >= 1e-2 and held == (shot.problem.motion is False)
    report("the shot itself")
    base = shot if same else solve(case)
    accuracy = base.accuracy
    changed = []
    for key, (value, uncertainty) in uncertain_inputs(case).items() if vary else ():
        report(key)
        changed.append(_changed_shot(case, key, value, uncertainty, solve))
    with_term = None
    if term:
        report("the model's missing inductance")
        with_term = solve(case.with_values({LEADS_INDUCTANCE: case.leads.inductance + term}))
    return Sensitivities(base, tuple(changed), with_term, held)


def _changed_shot(case: Case, key: str, value: float, uncertainty: float, solve: Callable[[Case], Shot]) -> ChangedShot:
    """The shot with an input changed by the first step that the case can take."""
    errors = []
    for step in _steps(value, uncertainty):
        try:
            return ChangedShot(key, uncertainty, step, solve(case.with_values({key: value + step})))
        except (InputError, GeometryError) as error:
            errors.append(str(error))
    raise InputError(f"{key}: the case cannot be computed with it changed by its uncertainty, {uncertainty:g}: {errors[-1]}")


def _steps(value: float, uncertainty: float) -> Iterator[float]:
    large = max(uncertainty, SMALLEST_STEP * abs(value))
    yield from (large, -large, uncertainty, -uncertainty)


def _is_input(key: str) -> bool:
    table, _, rest = key.partition(".")
    if table == "leads":
        return key in OF_LEADS
    return table not in RIG_TABLES and rest.split(".")[-1] not in NO_INPUTS
