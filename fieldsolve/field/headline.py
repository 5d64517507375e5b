"""The figures whose error `accuracy` bounds in a static solve, each with the dual field that tells where it arises."""
from __future__ import annotations

import math

import numpy as np

from fieldsolve.field import force
from fieldsolve.field.accuracy import ENERGY, Figure, chosen
from fieldsolve.field.peak import Peak, rival_peaks
from fieldsolve.field.solution import Solution
from fieldsolve.field.static_solution import StaticSolution
from geometries.cross_section import AxialStrip, CrossSection
from geometries.errors import InputError
from geometries.mesh import AIR

AXIS_POINTS = 5         # on the axis over the section's height
FORCE_SCALE = 0.1       # a force is judged against at least this share of energy over extent


def headline(solved: StaticSolution, points: tuple[tuple[float, float], ...], asked: tuple[str, ...] = ()) -> dict[str, Figure]:
    """Self and mutual inductances, axial forces, the bores' peaks, mean B of bodies, B on the axis and at `points`, by name.

    `asked` names those wanted, by their first words; none: all. What is infinite or absent drops out. Scales: inductances, peaks, means
    and B at points themselves; B on the axis its largest there; a force at least a tenth of the field's energy over the section's extent.
    """
    u = solved.solution.u
    wanted: list[tuple[str, float, float, np.ndarray, str, np.ndarray]] = []

    def ask(name: str, value: float, scale: float, functional: np.ndarray, field: np.ndarray = u, family: str = "") -> None:
        if scale > 0:
            wanted.append((name, value, scale, field, family, functional))

    figures = _inductances(solved)
    if not isinstance(solved.problem.section, AxialStrip):
        _ask_forces(solved, ask)
        _ask_peaks(solved, ask)
        _ask_axis(solved, ask)
    _ask_means(solved, ask)
    _ask_points(solved, points, ask)
    names = chosen([*figures, *(name for name, *_ in wanted)], asked)
    figures, wanted = {name: figures[name] for name in figures if name in names}, [some for some in wanted if some[0] in names]
    duals = solved.factor.solve(np.stack([functional for *_, functional in wanted], axis=1)).T.copy() if wanted else []
    for (name, value, scale, field, family, _), dual in zip(wanted, duals, strict=True):
        figures[name] = Figure(value, scale, [(field, dual)], family=family)
    return figures or {"energy": Figure(solved.energy(), max(solved.energy(), 1e-300), [(u, math.pi * u)], ENERGY)}


def _inductances(solved: StaticSolution) -> dict[str, Figure]:
    coils = [part for part in solved.problem.section.parts if part.is_coil]
    figures = {}
    for i, one in enumerate(coils):
        for other in coils[:i + 1]:
            if one is other and one.filament:
                continue
            value = solved.inductance(one.name, other.name)
            pair = (solved.unit_fields[one.name], 2 * math.pi * solved.unit_fields[other.name])
            figures[f"inductance {other.name} {one.name}"] = Figure(value, abs(value), [pair], ENERGY if one is other else 0.0)
    return figures


def _ask_forces(solved: StaticSolution, ask) -> None:
    section, currents = solved.problem.section, solved.problem.currents
    driven = [part for part in section.coils if currents.get(part.name)]
    if len(section.parts) < 2 or not driven:
        return
    least = FORCE_SCALE * abs(sum(currents[a.name] * currents[b.name] * solved.inductance(a.name, b.name)
                                  for a in driven for b in driven if not (a is b and a.filament))) / section.extent
    for part in driven:
        value = solved.axial_force(part.name)
        functional = currents[part.name] * force.axial_force_functional(solved.mesh, part)
        ask(f"force {part.name}", value, max(abs(value), least), functional, solved.felt_by(part))


def _ask_peaks(solved: StaticSolution, ask) -> None:
    for region, rivals in bore_rivals(solved.problem.section, solved.solution).items():
        functional = sum(along_field(solved.solution, peak) for peak in rivals) / len(rivals)
        ask(f"peak {region}", rivals[0].value, rivals[0].value, functional)


def bore_rivals(section: CrossSection, solution: Solution) -> dict[str, list[Peak]]:
    """Largest fields of each bore that has a bounded one, and their rivals."""
    found = {}
    for region in section.bores:
        try:
            peaks = rival_peaks(section, solution, region)
        except InputError:      # line currents have no peak
            continue
        if peaks and peaks[0].value > 0:
            found[region] = peaks
    return found


def along_field(solution: Solution, peak: Peak) -> np.ndarray:
    """Functional of the component of B along the field at a peak."""
    B_r, B_z = (complex(b) if np.iscomplexobj(b) else float(b) for b in solution.flux_density(peak.r, peak.z, (AIR,)))
    direction = B_r.conjugate() / peak.value, B_z.conjugate() / peak.value
    return force.point_functional(solution.mesh, peak.r, peak.z, direction, (AIR,))


def _ask_axis(solved: StaticSolution, ask) -> None:
    heights = axis_heights(solved.problem.section)
    B_z = solved.solution.flux_density(np.zeros_like(heights), heights)[1]
    for z, value in zip(heights, B_z, strict=True):
        functional = force.point_functional(solved.mesh, 0.0, float(z), (0.0, 1.0))
        ask(f"axis {z:.9g}", float(value), float(np.abs(B_z).max()), functional, family="axis")


def axis_heights(section: CrossSection) -> np.ndarray:
    """Heights on the axis, over the section's height, where B is a headline figure."""
    _, _, low, high = section.bounds
    return np.linspace(low, high, AXIS_POINTS) if high > low else np.array([low])


def _ask_means(solved: StaticSolution, ask) -> None:
    for part in solved.problem.section.bodies:
        if any(zone.material.is_magnetic for zone in part.zones):
            value, functional = solved.mean_flux_density(part.name), force.mean_functional(solved.mesh, part.name)
            ask(f"mean {part.name}", value, abs(value), functional)


def _ask_points(solved: StaticSolution, points: tuple[tuple[float, float], ...], ask) -> None:
    for k, (r, z) in enumerate(points):
        B = np.array([float(part) for part in solved.solution.flux_density(r, z)])
        strength = float(np.hypot(*B))
        for axis, (name, direction) in enumerate((("r", (1.0, 0.0)), ("z", (0.0, 1.0)))):
            functional = force.point_functional(solved.mesh, r, z, direction)
            ask(f"B_{name} at point {k}", float(B[axis]), strength, functional, family="points")
