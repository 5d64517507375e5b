"""The figures whose error `accuracy` bounds at a frequency, each with the field that tells where its error arises.

The dual field of a figure would need a complex solve; the real operator K + omega M gives one of the same size for a fraction.
"""
from __future__ import annotations

import math
from functools import cache, partial

import numpy as np

from fieldsolve.field.adaptivity.error_indicators import ENERGY, HEAT, Figure
from fieldsolve.field.adaptivity.goals import Asked, Makers, made
from fieldsolve.field.fem.assembly import vector
from fieldsolve.field.fem.quadrature import quadrature
from fieldsolve.field.harmonic.solution import HarmonicSolution, closed_coils
from fieldsolve.field.quantities import force
from fieldsolve.field.static.goals import at_points, axis, bounded_bores, peak
from geometries.cross_section import AxialStrip
from geometries.parts import Part

SHARE_OF_OWN = 0.01     # a net current is judged against at least this share of the integral of |J|, R and L of the coil's own
NOTHING = 1e-9          # of its own impedance: a change of a coil's impedance below this is rounding
FORCE_SCALE = 0.1       # a component of force is judged against at least this share of the other


def headline(solved: HarmonicSolution, points: tuple[tuple[float, float], ...], asked: tuple[str, ...] = ()) -> dict[str, Figure]:
    """Resistance, inductance and their change for each driven coil; loss, current and forces or mean B of each body; peaks; B; moment.

    `asked` names those wanted, by their first words; none: all. What is infinite, absent or unknown (a loop's own inductance, a stranded
    coil's resistance without fill) drops out. Scales: each figure itself; B on the axis its largest there; a component of force at least
    a tenth of the other; a net current at least 1 % of the integral of |J|, R and L at least 1 % of the coil's own with the others open.
    """
    u = solved.solution.total
    return made(_makers(solved, u, points), asked, u, solved.operator.proxy_solve)


def _makers(solved: HarmonicSolution, u: np.ndarray, points: tuple[tuple[float, float], ...]) -> Makers:
    problem, solution = solved.problem, solved.solution
    driven, closed = problem.currents.keys() | problem.voltages.keys(), closed_coils(problem)
    for part in problem.section.parts:
        if part.name in driven and abs(solved.currents[part.name]) > 0:
            yield from _terminals(solved, u, part)
        if not part.is_coil:
            yield from _of_body(solved, part)
        if part.name in closed:
            yield f"current {part.name}", partial(_current_of_closed, solved, part.name)
    if not isinstance(problem.section, AxialStrip):
        for region in bounded_bores(problem.section):
            yield f"peak {region}", partial(peak, problem.section, solution, region)
        yield from axis(problem.section, solution)
        if problem.applied_field:
            yield "dipole moment", partial(_moment, solved)
    yield from at_points(solution, points)


def _current_of_closed(solved: HarmonicSolution, name: str) -> Asked:
    current = solved.net_current(name)
    return Asked(current, abs(current), solved.omega * solved.system.unit_loads[name], least=HEAT)


def _terminals(solved: HarmonicSolution, u: np.ndarray, part: Part) -> Makers:
    """Inductance and resistance of a driven coil; of all coils but solid ones that stand alone, how other parts change them."""
    name, omega, current, own = part.name, solved.omega, abs(solved.currents[part.name]), solved.unit_fields[part.name]

    def inductance() -> Figure:
        value = solved.inductance(name)
        scale = max(abs(value), SHARE_OF_OWN * abs(solved.mutual_inductance(name, name).real))
        return Figure(value, scale, [(u, 2 * math.pi / current * own)], ENERGY if len(solved.currents) == 1 else 0.0)

    def resistance() -> Figure:
        value = solved.impedance(name).real
        scale = max(abs(value), SHARE_OF_OWN * solved.system.coil_resistance[name])
        return Figure(value, scale, [(omega * u, 2 * math.pi / current * own)])

    @cache
    def change() -> complex:
        found = solved.impedance_change(name)
        return 0.0 if abs(found) < NOTHING * omega * abs(solved.mutual_inductance(name, name)) else found

    @cache
    def reaction() -> np.ndarray:
        return 2 * math.pi * (own - solved.alone_field(name))

    def resistance_change() -> Figure:
        return Figure(change().real, abs(change().real), [(omega / current * u, reaction())])

    def inductance_change() -> Figure:
        return Figure(change().imag / omega, abs(change().imag / omega), [(u / current, reaction())])
    if not part.filament:
        yield f"inductance {name}", inductance
        if part.zones and solved.system.coil_resistance[name] is not None:
            yield f"resistance {name}", resistance
    if len(solved.problem.section.parts) > 1 and not (part.zones and not part.stranded):
        yield f"resistance change {name}", resistance_change
        yield f"inductance change {name}", inductance_change


def _of_body(solved: HarmonicSolution, part: Part) -> Makers:
    """Loss, net current and forces of a conducting body, in a strip mean B in place of forces."""
    name, omega, system = part.name, solved.omega, solved.system
    triangles = solved.mesh.part_triangles(name)
    if not system.sigma[triangles].any():
        return

    def loss() -> Asked:
        value = solved.loss(name)
        return Asked(value, value, 2 * math.pi * omega**2 * system.part_product(name, solved.solution.total.conj()), least=HEAT)

    def current() -> Asked:
        value = solved.net_current(name)
        scale = max(abs(value), SHARE_OF_OWN * solved.gross_current(part))
        return Asked(value, scale, -1j * omega * system.part_vector(name), least=HEAT)

    def mean() -> Asked:
        value = solved.mean_flux_density(name)
        return Asked(value, abs(value), force.mean_functional(solved.mesh, name))

    @cache
    def forces() -> tuple[tuple[float, float], tuple[np.ndarray, np.ndarray]]:
        return solved.force(name), _force_functionals(solved, part)

    def component(k: int) -> Asked:
        values, functionals = forces()
        return Asked(values[k], max(abs(values[k]), FORCE_SCALE * abs(values[1 - k])), functionals[k])
    yield f"loss {name}", loss
    yield f"current {name}", current
    if isinstance(solved.problem.section, AxialStrip):
        yield f"mean {name}", mean
    elif (system.nu[triangles] == system.nu.max()).all():
        yield f"radial force {name}", partial(component, 0)
        yield f"axial force {name}", partial(component, 1)


def _force_functionals(solved: HarmonicSolution, part: Part) -> tuple[np.ndarray, np.ndarray]:
    """Derivatives by u of the radial and axial force on a body: of Re(J* B) / 2 with J = -j omega sigma r u; each (n,)."""
    mesh, triangles = solved.mesh, solved.mesh.part_triangles(part.name)
    points = quadrature(mesh, triangles)
    volume = math.pi * points.r * points.dA
    J = solved.density(part, points).conj()
    B_r, B_z = points.flux_density(solved.solution.total)
    per_J = -1j * solved.omega * solved.system.sigma[triangles][:, None] * points.r

    def gathered(B: np.ndarray, per_B: np.ndarray) -> np.ndarray:
        local = np.einsum("mq,mqa->ma", volume * per_J * B.conj(), points.value) + np.einsum("mq,mqa->ma", volume * J, per_B)
        return vector(mesh, triangles, local.real) + 1j * vector(mesh, triangles, local.imag)
    r = points.r[..., None]
    return gathered(B_z, 2 * points.value + r * points.gradient[:, :, 0]), gathered(-B_r, r * points.gradient[:, :, 1])


def _moment(solved: HarmonicSolution) -> Asked:
    """The moment of the induced current, m = integral of pi r^2 J; of its functional the size alone counts."""
    moment, functional = solved.dipole_moment(), np.zeros(solved.mesh.size)
    for part in solved.problem.section.bodies:
        functional = functional + solved.omega * math.pi * np.abs(solved.system.part_product(part.name, np.ones(solved.mesh.size)))
    return Asked(moment, abs(moment), functional, least=HEAT)
