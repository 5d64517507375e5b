"""95 % bands of a case's shot: the case's distributions propagated through the reduced model and full shots."""
from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from fieldsolve.bounds import check_accuracy
from fieldsolve.cases.case_file import Case, read_case
from fieldsolve.cases.solve import check_shot_case
from fieldsolve.circuit.bank import check_charge
from fieldsolve.errors import InputError
from fieldsolve.field.linear_algebra.blas_threads import one_thread
from fieldsolve.propagation.assemble import Computed, Sources, assemble_bands
from fieldsolve.propagation.full_shots import HELD_ACCURACY, MOVING_ACCURACY, FullShots, scatter_of
from fieldsolve.propagation.inputs import FLOW_STRESS, UncertainCase, is_of_circuit, uncertain_case
from fieldsolve.propagation.monte_carlo import FEWEST_BATCHES, Propagated, propagate
from fieldsolve.propagation.outputs import OutputVector, numerical_uncertainties, outputs_of
from fieldsolve.propagation.reduced import reduced_control
from fieldsolve.propagation.result import Bands
from fieldsolve.propagation.surface import Surface, fit_surface
from fieldsolve.records.comparison.sensitivities import check_case
from geometries.keywords import known_keywords

if TYPE_CHECKING:
    from fieldsolve.records.ringdown.result import RingDown
    from fieldsolve.shot.result.shot import Shot

DEFAULT_ACCURACY = 3e-3    # of a shot where the case gives none
BATCH = 1000               # draws between two looks at whether enough was drawn
FEWEST_CHECKS = 4          # shots at random, from which on their scatter has a variance (Student's t with 3 degrees of freedom)


@known_keywords
@one_thread()
def bands(case: Case | str | Path | Mapping[str, Any], *, fit: RingDown | None = None, prior: Mapping[str, float] | None = None,
          shot: Shot | None = None, held: bool = False, draws: int = 10_000, digits: int = 1, checks: int = FEWEST_CHECKS, seed: int = 0,
          accuracy: float | None = None, progress: Callable[[str], None] | None = None) -> Bands:
    """95 % bands on currents, field, shape, burst time and traces of a case's shot, from the uncertainties that the case gives.

    Parameters
    ----------
    case : Case, str, Path or mapping
        As for `read_case`; uncertain values are written "120 uF +- 3 %".
    fit : RingDown, optional
        Of `fit_ring_down` with a load: its constants, with their covariance, are those of the first bank.
    prior : mapping, optional
        Relative standard uncertainty of a normal distribution by dotted key, or "flow_stress of PART" for the metal's.
    shot : Shot, optional
        The case's shot where it is there already: the bands lie about it.
    held : bool, optional
        Vary the inputs in shots with the metal held still, which is quicker; moved shapes then have no band.
    draws : int, optional
        At most so many; fewer where all quantities are settled before.
    digits : int, optional
        Significant digits, 1 or 2, of the standard uncertainties to which the results are settled.
    checks : int, optional
        Full shots at random that the bands are corrected by and checked against: 0, or at least 4; 20 for a proof.
    seed : int, optional
        Of the draws.
    accuracy : float, optional
        Relative, of the full shots that are compared with each other.
    progress : callable, optional
        Called with a text before each shot.

    Returns
    -------
    Bands

    Raises
    ------
    InputError
        Where the case gives no uncertainty or no shot, or an argument cannot be.
    SolveError
        Where a shot fails.

    Notes
    -----
    Bank, crowbar and leads are drawn through the reduced model of the section; shapes, metals and flow stress, and all inputs where
    there is no such model, through a surface that is quadratic in each input.  Source: JCGM 101:2008.

    Examples
    --------
    >>> import fieldsolve as fs
    >>> case = fs.read_case({"coil": {"shape": "solenoid", "turns": 4, "bore_radius": "15.6 mm", "wire_diameter": "3 mm",
    ...                               "pitch": "3.3 mm", "material": "copper"},
    ...                      "bank": {"capacitance": "120 uF", "voltage": "4 kV +- 2 % (k=2)", "inductance": "350 nH"},
    ...                      "run": {"end_time": "20 us", "motion": False, "heating": False, "accuracy": 3e-2}})
    >>> band = fs.bands(case, draws=500, checks=0).band("peak current of coil")
    >>> print(f"{100 * band.standard_uncertainty / band.value:.0f} %")
    1 %
    """
    _check_arguments(draws, digits, checks, seed)
    uncertain = uncertain_case(read_case(case), fit, prior)
    check_shot_case(uncertain.case)
    check_charge(uncertain.case.banks)
    if shot is not None and fit is None:
        check_case(shot, uncertain.case)
    _check_moving(uncertain, held)
    full = FullShots(uncertain, _accuracy(uncertain.case, held) if accuracy is None else check_accuracy(accuracy, "accuracy"), held,
                     progress or (lambda text: None))
    shot = shot or full.solve_best(_best_accuracy(uncertain.case, full), "the shot itself")
    base = shot if _is_base(shot, full) else full.solve({}, "the shot itself, with the cells and steps of the others")
    return _bands_about(full, base, shot, outputs_of(base, _end(base, shot)), _Choices(draws, digits, checks, seed))


@dataclass(frozen=True)
class _Choices:
    draws: int
    digits: int
    checks: int
    seed: int


def _bands_about(full: FullShots, base: Shot, shot: Shot, vector: OutputVector, choices: _Choices) -> Bands:
    uncertain, of_base = full.uncertain, vector.evaluate(base)
    full.report("the reduced model")
    control, remarks = reduced_control(uncertain, vector, of_base)
    as_reduced = control is not None and base.held and not base.problem.heating        # a reduced model is held and cold
    varied = [k for k, key in enumerate(uncertain.keys) if not (as_reduced and is_of_circuit(key))]
    steps, changed = _changed_outputs(full, vector, varied)
    at, found, failed = full.at_random(choices.checks, choices.seed, vector)
    if len(at) < FEWEST_CHECKS:
        at, found = at[:0], found[:0]
    varies = control.known if control is not None and len(varied) < len(uncertain.keys) else np.ones(vector.size, dtype=bool)
    surface = fit_surface(control, uncertain.values, steps, of_base, changed)
    residuals = found - surface(at) if len(at) else np.zeros((0, vector.size))
    propagated = _propagate(uncertain, surface, residuals, vector, choices)
    remarks += [f"a shot at random failed and was left out: {text}" for text in failed]
    computed = Computed(
        surface=surface, propagated=propagated, residuals=residuals,
        numerical=numerical_uncertainties(shot, vector), nominal=None if shot is base else vector.evaluate(shot),
        controlled=np.zeros(vector.size, dtype=bool) if control is None else control.known, varies=varies, seed=choices.seed,
        shots=1 + (base is not shot) + 2 * len(varied) + len(at))
    return assemble_bands(Sources(uncertain, vector, shot, full.held), computed, remarks)


def _changed_outputs(full: FullShots, vector: OutputVector, varied: list[int]) -> tuple[np.ndarray, dict[int, Any]]:
    """Steps (d,), and by number of each `varied` input the outputs of the shots with it changed up and down by its step."""
    steps, changed = math.sqrt(3) * full.uncertain.uncertainties, {}
    for k in varied:
        steps[k], *changed[k] = full.changed_by_one(k, vector)
    return steps, changed


def _propagate(uncertain: UncertainCase, surface: Surface, residuals: np.ndarray, vector: OutputVector, choices: _Choices) -> Propagated:
    """Draws through the surface, with the scatter of the shots at random about it."""
    def evaluate(inputs: np.ndarray, batch: int) -> np.ndarray:
        return surface(inputs) + scatter_of(residuals, len(inputs), choices.seed, batch)

    watched = np.arange(vector.size) < len(vector.outputs)
    batch = min(BATCH, choices.draws // FEWEST_BATCHES)
    return propagate(evaluate, lambda count, batch: uncertain.draw(count, choices.seed, 0, batch), digits=choices.digits, batch=batch,
                     most=choices.draws, watched=watched)


def _check_moving(uncertain: UncertainCase, held: bool) -> None:
    """Refuse a flow stress of metal that is held still: InputError."""
    strengths = [key for key in uncertain.keys if key.startswith(FLOW_STRESS)]
    if strengths and (held or not uncertain.case.run.motion):
        raise InputError(f"prior {strengths[0]!r}: the metal is held still, and its flow stress changes nothing; leave it out, or let the "
                         "metal move")


def _accuracy(case: Case, held: bool) -> float:
    """Of the full shots: the case's, or a coarser one that serves to compare shots."""
    return HELD_ACCURACY if held or not case.run.motion else max(case.run.accuracy or 0.0, MOVING_ACCURACY)


def _is_base(shot: Shot, full: FullShots) -> bool:
    """Whether a shot can be compared with the changed ones: the same cells, steps and motion."""
    held = full.held or not full.uncertain.case.run.motion
    return shot.accuracy == full.accuracy and held == (shot.problem.motion is False)


def _best_accuracy(case: Case, full: FullShots) -> float:
    """Of the shot about which the bands lie: the case's, or that of the others where they are as good."""
    return min(case.run.accuracy or DEFAULT_ACCURACY, full.accuracy)


def _end(base: Shot, shot: Shot) -> float:
    """Seconds up to which all is read."""
    ends = [float(run.times[-1]) if run.validity_end is None else min(float(run.times[-1]), run.validity_end)
            for run in (base, shot)]
    return min(ends)


def _check_arguments(draws: int, digits: int, checks: int, seed: int) -> None:
    if isinstance(draws, bool) or not isinstance(draws, int) or not 500 <= draws <= 100_000:
        raise InputError(f"draws = {draws!r}: must be a whole number from 500 to 100 000, such as 2000")
    if digits not in (1, 2):
        raise InputError(f"digits = {digits!r}: must be 1 or 2, the significant digits of the standard uncertainties")
    if isinstance(checks, bool) or not isinstance(checks, int) or not (checks == 0 or checks >= FEWEST_CHECKS):
        raise InputError(f"checks = {checks!r}: must be 0, or at least {FEWEST_CHECKS} shots at random, such as 20")
    if isinstance(seed, bool) or not isinstance(seed, int) or seed < 0:
        raise InputError(f"seed = {seed!r}: must be a whole number, zero or more")
