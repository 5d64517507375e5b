"""The figures whose error `accuracy` bounds in a static solve, each with the dual field that tells where it arises."""
from __future__ import annotations

import math
from functools import cache, partial

import numpy as np

from fieldsolve.field.adaptivity.error_indicators import ENERGY, Figure
from fieldsolve.field.adaptivity.goals import Asked, Makers, made
from fieldsolve.field.fem.nodal_field import Solution
from fieldsolve.field.fem.point_location import locate
from fieldsolve.field.quantities import force
from fieldsolve.field.quantities.peak_field import Peak, has_bound, largest_length, rival_peaks
from fieldsolve.field.static.solution import StaticSolution
from geometries.cross_section import AxialStrip, CrossSection
from geometries.mesh import AIR, Mesh
from geometries.parts import Part

AXIS_POINTS = 5         # on the axis over the section's height
NEAR = 1e-7             # of the mesh's extent above and below a point: metal at both, and the point is inside it
DIRECTIONS = (1.0, 0.0), (0.0, 1.0)
FORCE_SCALE = 0.1       # a force is judged against at least this share of energy over extent


def headline(solved: StaticSolution, points: tuple[tuple[float, float], ...], asked: tuple[str, ...] = ()) -> dict[str, Figure]:
    """Self and mutual inductances, axial forces, the bores' peaks, mean B of bodies, B on the axis and at `points`, by name.

    `asked` names those wanted, by their first words; none: all. What is infinite or absent drops out. Scales: inductances, peaks, means
    and B at points themselves; B on the axis its largest there; a force at least a tenth of the field's energy over the section's extent.
    """
    u = solved.solution.u
    figures = made(_makers(solved, points), asked, u, solved.factor.solve)
    return figures or {"energy": Figure(solved.energy(), max(solved.energy(), 1e-300), [(u, math.pi * u)], ENERGY)}


def _makers(solved: StaticSolution, points: tuple[tuple[float, float], ...]) -> Makers:
    yield from _inductances(solved)
    if not isinstance(solved.problem.section, AxialStrip):
        yield from _forces(solved)
        yield from _peaks(solved)
        yield from axis(solved.problem.section, solved.solution)
    yield from _means(solved)
    yield from at_points(solved.solution, points)


def _inductances(solved: StaticSolution) -> Makers:
    coils = [part for part in solved.problem.section.parts if part.is_coil]

    def maker(one: Part, other: Part) -> Figure:
        value = solved.inductance(one.name, other.name)
        pair = (solved.unit_fields[one.name], 2 * math.pi * solved.unit_fields[other.name])
        return Figure(value, abs(value), [pair], ENERGY if one is other else 0.0)
    for i, one in enumerate(coils):
        for other in coils[:i + 1]:
            if not (one is other and one.filament):
                yield f"inductance {other.name} {one.name}", partial(maker, one, other)


def _forces(solved: StaticSolution) -> Makers:
    section, currents = solved.problem.section, solved.problem.currents
    driven = [part for part in section.coils if currents.get(part.name)]
    if len(section.parts) < 2 or not driven:
        return

    def maker(part: Part) -> Asked:
        value = solved.axial_force(part.name)
        least = FORCE_SCALE * abs(sum(currents[a.name] * currents[b.name] * solved.inductance(a.name, b.name)
                                      for a in driven for b in driven if not (a is b and a.filament))) / section.extent
        functional = currents[part.name] * force.axial_force_functional(solved.mesh, part)
        return Asked(value, max(abs(value), least), functional, solved.felt_by(part))
    for part in driven:
        yield f"force {part.name}", partial(maker, part)


def _peaks(solved: StaticSolution) -> Makers:
    for region in bounded_bores(solved.problem.section):
        yield f"peak {region}", partial(peak, solved.problem.section, solved.solution, region)


def bounded_bores(section: CrossSection) -> list[str]:
    """Bores in which |B| has a largest value."""
    return [region for region in section.bores if has_bound(section, region)]


def peak(section: CrossSection, solution: Solution, region: str) -> Asked:
    """Largest |B| of a bore; the functional is the mean of those of the largest and its rivals, each along the field there."""
    rivals = rival_peaks(section, solution, region)
    if not rivals[0].value > 0:
        return Asked(0.0, 0.0, np.zeros(solution.mesh.size))
    return Asked(rivals[0].value, rivals[0].value, sum(_along_field(solution, rival) for rival in rivals) / len(rivals))


def _along_field(solution: Solution, at: Peak) -> np.ndarray:
    """Functional of the component of B along the field at a peak."""
    B_r, B_z = (complex(b) if np.iscomplexobj(b) else float(b) for b in solution.flux_density(at.r, at.z, (AIR,)))
    direction = B_r.conjugate() / at.value, B_z.conjugate() / at.value
    return force.point_functional(solution.mesh, at.r, at.z, direction, (AIR,))


def axis(section: CrossSection, solution: Solution) -> Makers:
    """B_z on the axis over the section's height; its scale is the largest there."""
    heights = axis_heights(section)

    @cache
    def along() -> tuple[np.ndarray, list[str]]:
        r = np.zeros_like(heights)
        return solution.flux_density(r, heights)[1], _families(solution.mesh, r, heights)

    def maker(k: int) -> Asked:
        (B_z, families), functional = along(), force.point_functional(solution.mesh, 0.0, float(heights[k]), (0.0, 1.0))
        return Asked(B_z[k].item(), float(np.abs(B_z).max()), functional, family=families[k])
    for k, z in enumerate(heights):
        yield f"axis {z:.9g}", partial(maker, k)


def axis_heights(section: CrossSection) -> np.ndarray:
    """Heights on the axis, over the section's height, where B is a headline figure."""
    _, _, low, high = section.bounds
    return np.linspace(low, high, AXIS_POINTS) if high > low else np.array([low])


def _families(mesh: Mesh, r: np.ndarray, z: np.ndarray) -> list[str]:
    """What each point lies in, and with the others there is a family: metal, or air and its borders."""
    beside = NEAR * np.ptp(mesh.nodes, axis=0).max()
    found = [locate(mesh, r, z + shift)[0] for shift in (-beside, beside)]
    in_metal = np.all([(some >= 0) & (mesh.region[some] > AIR) for some in found], axis=0)
    return [("B in air", "B in metal")[inside] for inside in in_metal.astype(int)]


def _means(solved: StaticSolution) -> Makers:
    def maker(name: str) -> Asked:
        value = solved.mean_flux_density(name)
        return Asked(value, abs(value), force.mean_functional(solved.mesh, name))
    for part in solved.problem.section.bodies:
        if any(zone.material.is_magnetic for zone in part.zones):
            yield f"mean {part.name}", partial(maker, part.name)


def at_points(solution: Solution, points: tuple[tuple[float, float], ...]) -> Makers:
    """B_r and B_z at points; their scale is |B| there."""
    @cache
    def fields() -> tuple[np.ndarray, list[str]]:
        r, z = np.array(points).T
        return np.stack(solution.flux_density(r, z), axis=1), _families(solution.mesh, r, z)

    def maker(k: int, component: int) -> Asked:
        (B, families), functional = fields(), force.point_functional(solution.mesh, *points[k], DIRECTIONS[component])
        return Asked(B[k, component].item(), float(largest_length(*B[k])), functional, family=families[k])
    for k in range(len(points)):
        for component in (0, 1):
            yield f"B_{'rz'[component]} at point {k}", partial(maker, k, component)
