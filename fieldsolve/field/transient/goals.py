"""The goals that a mesh is judged on when a field in time is to be solved on it, taken at one frequency."""
from __future__ import annotations

import numpy as np

from fieldsolve.field.adaptivity.error_indicators import Goal
from fieldsolve.field.adaptivity.goals import build_goals
from fieldsolve.field.harmonic.goals import goal_builders
from fieldsolve.field.harmonic.solution import HarmonicSolution
from geometries.cross_section import AxialStrip, Section

COMPARED_WITH_ALONE = ("resistance change ", "inductance change ")     # goals of a measurement at one frequency only
STRIP_POINTS = 7                # across a strip, its faces included


def transient_goals(solved: HarmonicSolution) -> dict[str, Goal]:
    """Those of a field at a frequency that count in time, by name.

    Resistance and inductance of each driven coil; loss, net current and forces of each body; the largest |B| in each bore; B at the
    middle of the axis; of a strip B at points across it.
    """
    u, section = solved.solution.total, solved.problem.section
    builders = dict(goal_builders(solved, u, _strip_points(section)))
    on_axis = [name for name in builders if name.startswith("axis ")]
    left_out = set(on_axis) - {on_axis[len(on_axis) // 2]} if on_axis else set()
    kept = ((name, build) for name, build in builders.items() if name not in left_out and not name.startswith(COMPARED_WITH_ALONE))
    return build_goals(kept, (), u, solved.operator.proxy_solve)


def _strip_points(section: Section) -> tuple[tuple[float, float], ...]:
    """Points across a strip, whose field is wanted as well as its losses; none in open space."""
    if not isinstance(section, AxialStrip):
        return ()
    return tuple((float(r), section.centre) for r in np.linspace(section.inner_radius, section.outer_radius, STRIP_POINTS)[1:-1])
