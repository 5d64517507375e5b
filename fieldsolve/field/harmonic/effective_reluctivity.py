"""Fields at a frequency in metal with a B-H curve, by an effective reluctivity: approximate.

All fields are taken as sinusoidal.  The metal then is linear, with nu at each point from the peak of H there: this H over the first
harmonic of B, where the length of the phasor stands for the peak.  Saturation makes harmonics; they are left out, and so is hysteresis.
Beneath a surface H is nearer to a sinusoid than B.  Source of the method: J. Luomi, A. Niemenmaa, A. Arkkio, Int. Conf. on Electrical
Machines (1986) 706; D. Lederer, A. Kost, IEEE Trans. Magn. 34 (1998) 3060 (both from memory).
Anderson's iteration on log nu finds the nu that agrees with its own field: D. G. Anderson, J. ACM 12 (1965) 547.
"""
from __future__ import annotations

import math

import numpy as np

from fieldsolve.constants import NU_0
from fieldsolve.field.harmonic.problem import HarmonicProblem
from fieldsolve.field.harmonic.solution import HarmonicSolution, solve_at_frequency
from fieldsolve.field.system.eddy_current import EddySystem
from fieldsolve.field.system.prescribed_reluctivity import PrescribedReluctivity
from fieldsolve.materials.bh_curve import chord_reluctivity, effective_reluctivity
from geometries.errors import SolveError

STEPS = 100                 # at most
START = 1.0                 # tesla everywhere
MEMORY = 10                 # steps that Anderson's iteration looks back
CONVERGED = 3e-4            # change of log nu, its mean weighted by the metal's energy; moves an impedance by less than 1e-6


def solve_self_consistent(problem: HarmonicProblem, eddy: EddySystem, omega: float,
                          isolated_fields: dict[str, np.ndarray] | None = None) -> HarmonicSolution:
    """The field at one angular frequency whose reluctivity follows from its own peak.  Raises SolveError where no such field is found."""
    if not eddy.zones:
        return solve_at_frequency(problem, eddy, omega, isolated_fields)
    x = np.concatenate([np.log(chord_reluctivity(zone.curve, np.full(zone.points.r.size, START))) for zone in eddy.zones])
    places, moves = [], []
    for _ in range(STEPS):
        solved = solve_at_frequency(problem, eddy.with_reluctivity(_prescribed_zones(eddy, np.exp(x))), omega, isolated_fields)
        target, weight = _target(eddy, solved)
        move = target - x
        if math.sqrt((weight * move**2).sum() / max(weight.sum(), 1e-300)) < CONVERGED:
            return solved
        places, moves = [*places[-MEMORY:], x], [*moves[-MEMORY:], move]
        x = np.minimum(_anderson_step(places, moves, weight), math.log(NU_0))
    raise SolveError(f"effective reluctivity: {STEPS} steps do not make it agree with the field: give relative_permeability= in place of "
                     "the curve")


def _prescribed_zones(eddy: EddySystem, nu: np.ndarray) -> tuple[PrescribedReluctivity, ...]:
    """The zones with curves as linear metal; `nu` lists the reluctivities at the points of all zones one after the other."""
    ends = np.cumsum([zone.points.r.size for zone in eddy.zones])
    return tuple(PrescribedReluctivity(zone.points, values.reshape(zone.points.r.shape))
                 for zone, values in zip(eddy.zones, np.split(nu, ends[:-1]), strict=True))


def _target(eddy: EddySystem, solved: HarmonicSolution) -> tuple[np.ndarray, np.ndarray]:
    """log nu at the peak of H at each point of the metal with curves, and nu B^2 r dA there."""
    found, total = [], solved.solution.total
    for zone, prescribed in zip(eddy.zones, solved.system.prescribed, strict=True):
        square = sum(zone.flux_density(part)[0] ** 2 for part in (total.real, total.imag))
        log_nu = np.log(effective_reluctivity(zone.curve, prescribed.nu * np.sqrt(square)))
        found.append((log_nu, prescribed.nu * square * zone.points.r_dA))
    return tuple(np.concatenate([value.ravel() for value in values]) for values in zip(*found, strict=True))


def _anderson_step(places: list[np.ndarray], moves: list[np.ndarray], weight: np.ndarray) -> np.ndarray:
    """Anderson's next place: from the combination of the places so far whose combined move is the smallest."""
    if len(moves) == 1:
        return places[0] + moves[0]
    root = np.sqrt(weight / weight.sum())[:, None]
    changes, steps = np.diff(moves, axis=0).T, np.diff(places, axis=0).T
    share = np.linalg.lstsq(root * changes, root[:, 0] * moves[-1], rcond=1e-8)[0]
    return places[-1] + moves[-1] - (steps + changes) @ share
