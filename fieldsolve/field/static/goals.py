"""The goals whose errors `accuracy` bounds in a static solve, each with the dual field that shows where its error arises."""
from __future__ import annotations

import math
from functools import cache, partial

import numpy as np

from fieldsolve.field.adaptivity.error_indicators import ENERGY_EFFECTIVITY, Goal
from fieldsolve.field.adaptivity.goals import GoalBuilders, PendingGoal, build_goals
from fieldsolve.field.fem.nodal_field import NodalField
from fieldsolve.field.fem.point_location import locate
from fieldsolve.field.quantities import force
from fieldsolve.field.quantities.peak_field import Peak, field_magnitude, is_bounded, rival_peaks
from fieldsolve.field.static.solution import StaticSolution
from geometries.cross_section import AxialStrip, CrossSection
from geometries.mesh import AIR, Mesh
from geometries.parts import Part

AXIS_POINTS = 5         # on the axis over the section's height
NEAR = 1e-7             # share of the mesh's extent; a point with metal so far above and below it is inside metal
DIRECTIONS = (1.0, 0.0), (0.0, 1.0)
PEAK_EFFECTIVITY = 0.02 # error bound over dual estimate of a peak, see `error_bounds.py`
LEAST_PEAK_EFFECTIVITY = 0.3    # the least one in higher orders, which recover no slopes: without the changes it bounds 8 in 10 errors
SCALE_OF_ENERGY = 0.1   # the scale of a force is at least this share of the field's energy over the section's extent


def static_goals(solved: StaticSolution, points: tuple[tuple[float, float], ...], requested: tuple[str, ...] = ()) -> dict[str, Goal]:
    """Self and mutual inductances, axial forces, peaks in the bores, mean B of bodies, B on the axis and at `points`, by name.

    requested  the first words of the goals wanted; none: all
    What is infinite or absent drops out.  The scale of a goal is its own size, but for B on the axis the largest there, for B at
    a point |B|, and for a force at least a tenth of the field's energy over the section's extent.
    """
    u = solved.solution.u
    goals = build_goals(_goal_builders(solved, points), requested, u, solved.factor.solve)
    return goals or {"energy": Goal(solved.energy(), max(solved.energy(), 1e-300), [(u, math.pi * u)], ENERGY_EFFECTIVITY)}


def _goal_builders(solved: StaticSolution, points: tuple[tuple[float, float], ...]) -> GoalBuilders:
    yield from _inductance_goals(solved)
    if not isinstance(solved.problem.section, AxialStrip):
        yield from _force_goals(solved)
        yield from _peak_goals(solved)
        yield from axis_goals(solved.problem.section, solved.solution)
    yield from _mean_goals(solved)
    yield from point_goals(solved.solution, points)


def _inductance_goals(solved: StaticSolution) -> GoalBuilders:
    coils = [part for part in solved.problem.section.parts if part.is_coil]

    def build(one: Part, other: Part) -> Goal:
        value = solved.inductance(one.name, other.name)
        pair = (solved.unit_fields[one.name], 2 * math.pi * solved.unit_fields[other.name])
        return Goal(value, abs(value), [pair], ENERGY_EFFECTIVITY if one is other else 0.0)
    for i, one in enumerate(coils):
        for other in coils[:i + 1]:
            if not (one is other and one.filament):
                yield f"inductance {other.name} {one.name}", partial(build, one, other)


def _force_goals(solved: StaticSolution) -> GoalBuilders:
    section, currents = solved.problem.section, solved.problem.currents
    driven = [part for part in section.coils if currents.get(part.name)]
    if len(section.parts) < 2 or not driven:
        return

    def build(part: Part) -> PendingGoal:
        value = solved.axial_force(part.name)
        least = SCALE_OF_ENERGY * abs(sum(currents[a.name] * currents[b.name] * solved.inductance(a.name, b.name)
                                      for a in driven for b in driven if not (a is b and a.filament))) / section.extent
        functional = currents[part.name] * force.axial_force_functional(solved.mesh, part)
        return PendingGoal(value, max(abs(value), least), functional, solved.external_field(part))
    for part in driven:
        yield f"force {part.name}", partial(build, part)


def _peak_goals(solved: StaticSolution) -> GoalBuilders:
    for region in bounded_bores(solved.problem.section):
        yield f"peak {region}", partial(peak_goal, solved.problem.section, solved.solution, region)


def bounded_bores(section: CrossSection) -> list[str]:
    """Bores in which |B| has a largest value."""
    return [region for region in section.bores if is_bounded(section, region)]


def peak_goal(section: CrossSection, solution: NodalField, region: str) -> PendingGoal:
    """Largest |B| of a bore; the functional is the mean of those of the largest and its rivals, each along the field there."""
    rivals = rival_peaks(section, solution, region)
    if not rivals[0].value > 0:
        return PendingGoal(0.0, 0.0, np.zeros(solution.mesh.size))
    functional, triangle = np.zeros(solution.mesh.size, dtype=solution.u.dtype), None
    for rival in rivals:                # each in the triangle of the one before where that holds it, so that the ends of an edge share one
        triangle, place = locate(solution.mesh, np.array([rival.r]), np.array([rival.z]), (AIR,), first=triangle)
        functional = functional + _functional_along_field(solution, rival, triangle, place)
    known, least = (PEAK_EFFECTIVITY, 0.0) if solution.mesh.order == 2 else (0.0, LEAST_PEAK_EFFECTIVITY)
    return PendingGoal(rivals[0].value, rivals[0].value, functional / len(rivals), least_effectivity=least, effectivity=known)


def _functional_along_field(solution: NodalField, at: Peak, triangle: np.ndarray, place: np.ndarray) -> np.ndarray:
    """Functional of the component of B along the field at a peak, in the triangle (1,) and at the barycentric place (1, 3) given."""
    B_r, B_z = (b[0].item() for b in solution.flux_density_in(triangle, place, np.array([at.r]), np.array([at.z])))
    direction = B_r.conjugate() / at.value, B_z.conjugate() / at.value
    return force.point_functional(solution.mesh, at.r, at.z, direction, (AIR,), triangle)


def axis_goals(section: CrossSection, solution: NodalField) -> GoalBuilders:
    """B_z on the axis over the section's height; its scale is the largest there."""
    heights = axis_heights(section)

    @cache
    def along() -> tuple[np.ndarray, list[str]]:
        r = np.zeros_like(heights)
        return solution.flux_density(r, heights)[1], _families(solution.mesh, r, heights)

    def build(k: int) -> PendingGoal:
        (B_z, families), functional = along(), force.point_functional(solution.mesh, 0.0, float(heights[k]), (0.0, 1.0))
        return PendingGoal(B_z[k].item(), float(np.abs(B_z).max()), functional, family=families[k])
    for k, z in enumerate(heights):
        yield f"axis {z:.9g}", partial(build, k)


def axis_heights(section: CrossSection) -> np.ndarray:
    """Heights on the axis, over the section's height, where B is a goal."""
    _, _, low, high = section.bounds
    return np.linspace(low, high, AXIS_POINTS) if high > low else np.array([low])


def _families(mesh: Mesh, r: np.ndarray, z: np.ndarray) -> list[str]:
    """Family of each point: metal, or air and its borders."""
    beside = NEAR * np.ptp(mesh.nodes, axis=0).max()
    found = [locate(mesh, r, z + shift)[0] for shift in (-beside, beside)]
    in_metal = np.all([(triangle >= 0) & (mesh.region[triangle] > AIR) for triangle in found], axis=0)
    return [("B in air", "B in metal")[inside] for inside in in_metal.astype(int)]


def _mean_goals(solved: StaticSolution) -> GoalBuilders:
    def build(name: str) -> PendingGoal:
        value = solved.mean_flux_density(name)
        return PendingGoal(value, abs(value), force.mean_functional(solved.mesh, name))
    for part in solved.problem.section.bodies:
        if any(zone.material.is_magnetic for zone in part.zones):
            yield f"mean {part.name}", partial(build, part.name)


def point_goals(solution: NodalField, points: tuple[tuple[float, float], ...]) -> GoalBuilders:
    """B_r and B_z at points; their scale is |B| there."""
    @cache
    def fields() -> tuple[np.ndarray, list[str]]:
        r, z = np.array(points).T
        return np.stack(solution.flux_density(r, z), axis=1), _families(solution.mesh, r, z)

    def build(k: int, component: int) -> PendingGoal:
        (B, families), functional = fields(), force.point_functional(solution.mesh, *points[k], DIRECTIONS[component])
        return PendingGoal(B[k, component].item(), float(field_magnitude(*B[k])), functional, family=families[k])
    for k in range(len(points)):
        for component in (0, 1):
            yield f"B_{'rz'[component]} at point {k}", partial(build, k, component)
