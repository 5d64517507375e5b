"""The goals whose errors `accuracy` bounds at a frequency, each with the field that shows where its error arises.

The exact dual field of a goal would need a complex solve.  The real operator K + omega M gives one of the same size for less.
"""
from __future__ import annotations

import math
from functools import cache, partial

import numpy as np

from fieldsolve.field.adaptivity.error_indicators import ENERGY_EFFECTIVITY, HEAT_EFFECTIVITY, Goal
from fieldsolve.field.adaptivity.goals import GoalBuilders, PendingGoal, build_goals, is_requested
from fieldsolve.field.fem.assembly import vector
from fieldsolve.field.fem.quadrature import gauss_points
from fieldsolve.field.harmonic.problem import HarmonicProblem, closed_coils
from fieldsolve.field.harmonic.solution import HarmonicSolution
from fieldsolve.field.quantities import force
from fieldsolve.field.static.goals import axis_goals, bounded_bores, peak_goal, point_goals
from geometries.cross_section import AxialStrip, CrossSection
from geometries.parts import Part

MIN_SHARE = 0.01        # the scale of a net current is at least this share of the integral of |J|, that of R and L of the coil's own
NEGLIGIBLE = 1e-9          # of its own impedance: a change of a coil's impedance below this is rounding
SCALE_OF_OTHER_FORCE = 0.1  # the scale of a component of force is at least this share of the other component


def harmonic_goals(solved: HarmonicSolution, points: tuple[tuple[float, float], ...], requested: tuple[str, ...] = ()) -> dict[str, Goal]:
    """Resistance, inductance and their change for each driven coil; loss, current and forces or mean B of each body; peaks; B; moment.

    `requested` names those wanted, by their first words; none: all. What is infinite, absent or unknown (a loop's own inductance, a
    stranded coil's resistance without fill) drops out. Scales: each itself; B on the axis its largest there; a component of force at least
    a tenth of the other; a net current at least 1 % of the integral of |J|, R and L at least 1 % of the coil's own with the others open.
    """
    u = solved.solution.total
    return build_goals(goal_builders(solved, u, points), requested, u, solved.operator.proxy_solve)


def coils_compared_alone(problem: HarmonicProblem, requested: tuple[str, ...] = ()) -> list[str]:
    """Driven coils whose change of impedance by other parts is among the goals, so that each is solved for alone too."""
    driven = {name for name, drive in (problem.currents | problem.voltages).items() if abs(drive) > 0}
    return [part.name for part in problem.section.parts if part.name in driven and _is_compared_alone(problem.section, part)
            and is_requested((f"resistance change {part.name}", f"inductance change {part.name}"), requested)]


def _is_compared_alone(section: CrossSection | AxialStrip, part: Part) -> bool:
    """Line currents and stranded windings beside other parts."""
    return len(section.parts) > 1 and not (part.zones and not part.stranded)


def goal_builders(solved: HarmonicSolution, u: np.ndarray, points: tuple[tuple[float, float], ...]) -> GoalBuilders:
    """Names of the goals and what builds each; u (n,) is the solution with the applied field."""
    problem, solution = solved.problem, solved.solution
    driven, closed = problem.currents.keys() | problem.voltages.keys(), closed_coils(problem)
    for part in problem.section.parts:
        if part.name in driven and abs(solved.currents[part.name]) > 0:
            yield from _terminal_goals(solved, u, part)
        if not part.is_coil:
            yield from _body_goals(solved, part)
        if part.name in closed:
            yield f"current {part.name}", partial(_closed_coil_current, solved, part.name)
    if not isinstance(problem.section, AxialStrip):
        for region in bounded_bores(problem.section):
            yield f"peak {region}", partial(peak_goal, problem.section, solution, region)
        yield from axis_goals(problem.section, solution)
        if problem.applied_field:
            yield "dipole moment", partial(_moment_goal, solved)
    yield from point_goals(solution, points)


def _closed_coil_current(solved: HarmonicSolution, name: str) -> PendingGoal:
    current = solved.net_current(name)
    functional = solved.omega * solved.system.unit_loads[name]
    return PendingGoal(current, abs(current), functional, least_effectivity=HEAT_EFFECTIVITY[solved.mesh.order])


def _terminal_goals(solved: HarmonicSolution, u: np.ndarray, part: Part) -> GoalBuilders:
    """Inductance and resistance of a driven coil; of all coils but solid ones that stand alone, how other parts change them."""
    name, omega, current, own = part.name, solved.omega, abs(solved.currents[part.name]), solved.unit_fields[part.name]

    def inductance() -> Goal:
        value = solved.inductance(name)
        scale = max(abs(value), MIN_SHARE * abs(solved.mutual_inductance(name, name).real))
        return Goal(value, scale, [(u, 2 * math.pi / current * own)], ENERGY_EFFECTIVITY if len(solved.currents) == 1 else 0.0)

    def resistance() -> Goal:
        value = solved.impedance(name).real
        scale = max(abs(value), MIN_SHARE * solved.system.coil_resistance[name])
        return Goal(value, scale, [(omega * u, 2 * math.pi / current * own)])

    @cache
    def change() -> complex:
        found = solved.impedance_change(name)
        return 0.0 if abs(found) < NEGLIGIBLE * omega * abs(solved.mutual_inductance(name, name)) else found

    @cache
    def reaction() -> np.ndarray:
        return 2 * math.pi * (own - solved.isolated_field(name))

    def resistance_change() -> Goal:
        return Goal(change().real, abs(change().real), [(omega / current * u, reaction())])

    def inductance_change() -> Goal:
        return Goal(change().imag / omega, abs(change().imag / omega), [(u / current, reaction())])
    if not part.filament:
        yield f"inductance {name}", inductance
        if part.zones and solved.system.coil_resistance[name] is not None:
            yield f"resistance {name}", resistance
    if _is_compared_alone(solved.problem.section, part):
        yield f"resistance change {name}", resistance_change
        yield f"inductance change {name}", inductance_change


def _body_goals(solved: HarmonicSolution, part: Part) -> GoalBuilders:
    """Loss, net current and forces of a conducting body, in a strip mean B in place of forces."""
    name, omega, system = part.name, solved.omega, solved.system
    triangles = solved.mesh.part_triangles(name)
    if not system.sigma[triangles].any():
        return

    def loss() -> PendingGoal:
        value = solved.loss(name)
        functional = 2 * math.pi * omega**2 * system.part_product(name, solved.solution.total.conj())
        return PendingGoal(value, value, functional, least_effectivity=HEAT_EFFECTIVITY[solved.mesh.order])

    def current() -> PendingGoal:
        value = solved.net_current(name)
        scale = max(abs(value), MIN_SHARE * solved.gross_current(part))
        return PendingGoal(value, scale, -1j * omega * system.part_vector(name), least_effectivity=HEAT_EFFECTIVITY[solved.mesh.order])

    def mean() -> PendingGoal:
        value = solved.mean_flux_density(name)
        functional = force.mean_functional(solved.mesh, name)
        return PendingGoal(value, abs(value), functional, least_effectivity=HEAT_EFFECTIVITY[solved.mesh.order])

    @cache
    def forces() -> tuple[tuple[float, float], tuple[np.ndarray, np.ndarray]]:
        return solved.force(name), _force_functionals(solved, part)

    def component(k: int) -> PendingGoal:
        values, functionals = forces()
        return PendingGoal(values[k], max(abs(values[k]), SCALE_OF_OTHER_FORCE * abs(values[1 - k])), functionals[k])
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
    points = gauss_points(mesh, triangles)
    volume = math.pi * points.r * points.dA
    J = solved.density(part, points).conj()
    B_r, B_z = points.flux_density(solved.solution.total)
    per_J = -1j * solved.omega * solved.system.sigma[triangles][:, None] * points.r

    def gathered(B: np.ndarray, per_B: np.ndarray) -> np.ndarray:
        local = np.einsum("mq,mqa->ma", volume * per_J * B.conj(), points.value) + np.einsum("mq,mqa->ma", volume * J, per_B)
        return vector(mesh, triangles, local.real) + 1j * vector(mesh, triangles, local.imag)
    r = points.r[..., None]
    return gathered(B_z, 2 * points.value + r * points.gradient[:, :, 0]), gathered(-B_r, r * points.gradient[:, :, 1])


def _moment_goal(solved: HarmonicSolution) -> PendingGoal:
    """The moment of the induced current, m = integral of pi r^2 J; of its functional the size alone counts."""
    moment, functional = solved.dipole_moment(), np.zeros(solved.mesh.size)
    for part in solved.problem.section.bodies:
        functional = functional + solved.omega * math.pi * solved.system.part_product(part.name, np.ones(solved.mesh.size)).real
    return PendingGoal(moment, abs(moment), functional, least_effectivity=HEAT_EFFECTIVITY[solved.mesh.order])
