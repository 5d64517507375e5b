"""Solutions on one mesh at more frequencies, found from those at some: by projection, or anew where the metal is not the same."""
from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import replace

import numpy as np

from fieldsolve.field.harmonic.effective_reluctivity import solve_self_consistent
from fieldsolve.field.harmonic.gmres import harmonic_operator
from fieldsolve.field.harmonic.projection import ProjectionSpace
from fieldsolve.field.harmonic.solution import HarmonicSolution, drive_loads, solution_of_fields
from fieldsolve.field.system.eddy_current import EddySystem

FARTHEST = 4.0      # ratio of a frequency to that of the nearest factor, from which on a new factor costs less than what it spares

def solve_between(system: EddySystem, solved: Mapping[float, HarmonicSolution], frequencies: Iterable[float],
                  tolerance: float) -> dict[float, HarmonicSolution]:
    """Solutions at frequencies in hertz beside those that are solved on the same mesh, with errors up to a relative tolerance.

    system  as it is before an effective reluctivity replaces the curves of its metal, which is another one at each frequency
    """
    pending = [frequency for frequency in frequencies if frequency not in solved]
    if system.zones:
        return {f: solve_self_consistent(solved[_nearest(solved, f)].problem, system, 2 * math.pi * f,
                                         solved[_nearest(solved, f)].isolated_fields) for f in pending}
    return _project(system, solved, pending, tolerance) if pending else {}


def _project(system: EddySystem, solved: Mapping[float, HarmonicSolution], pending: list[float],
             tolerance: float) -> dict[float, HarmonicSolution]:
    """Those furthest from the solved ones first, for the others gain most by them; too far, by a factor of their own."""
    fields = [field for one in solved.values() for field in (*one.unit_fields.values(), one.background_field)]
    space = ProjectionSpace.spanned_by(system, np.stack([part for field in fields for part in (field.real, field.imag)], axis=1))
    any_solved = next(iter(solved.values()))
    operators, found = {frequency: one.operator for frequency, one in solved.items()}, {}
    for frequency in sorted(pending, key=lambda f: -_distance(_nearest(solved, f), f)):
        omega = 2 * math.pi * frequency
        if _distance(_nearest(operators, frequency), frequency) > math.log(FARTHEST):
            operators[frequency] = harmonic_operator(system, omega)
        operator = replace(operators[_nearest(operators, frequency)], omega=omega)
        fields, space = space.solve(drive_loads(any_solved.problem, operator), omega, operator.real, tolerance)
        found[frequency] = solution_of_fields(any_solved.problem, operator, fields, any_solved.isolated_fields)
    return found


def _nearest(solved: Iterable[float], frequency: float) -> float:
    return min(solved, key=lambda f: _distance(f, frequency))


def _distance(one: float, other: float) -> float:
    return abs(math.log(one / other))
