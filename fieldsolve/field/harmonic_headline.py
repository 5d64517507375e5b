"""The figures whose error `accuracy` bounds at a frequency, each with the field that tells where its error arises.

The dual field of a figure would need a complex solve; the real operator K + omega M gives one of the same size for a fraction.
"""
from __future__ import annotations

import math

import numpy as np

from fieldsolve.field import force
from fieldsolve.field.accuracy import ENERGY, HEAT, Figure, chosen
from fieldsolve.field.assembly import vector
from fieldsolve.field.cells import quadrature
from fieldsolve.field.harmonic_solution import HarmonicSolution, closed_coils
from fieldsolve.field.headline import along_field, axis_heights, bore_rivals
from fieldsolve.field.peak import largest_length
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
    section, u = solved.problem.section, solved.solution.total
    figures: dict[str, Figure] = {}
    wanted: list[tuple[str, complex, float, float, str, np.ndarray]] = []

    def ask(name: str, value: complex, scale: float, functional: np.ndarray, *, least: float = 0.0, family: str = "") -> None:
        if scale > 0 and np.abs(functional).max() > 0:
            wanted.append((name, value, scale, least, family, functional.astype(complex)))

    driven, closed = solved.problem.currents.keys() | solved.problem.voltages.keys(), closed_coils(solved.problem)
    for part in section.parts:
        if part.name in driven and abs(solved.currents[part.name]) > 0:
            figures |= _terminals(solved, part)
        if not part.is_coil:
            _ask_body(solved, part, ask)
        if part.name in closed:
            current = solved.net_current(part.name)
            ask(f"current {part.name}", current, abs(current), solved.omega * solved.system.unit_loads[part.name], least=HEAT)
    if not isinstance(section, AxialStrip):
        _ask_peaks(solved, ask)
        _ask_axis(solved, ask)
    _ask_points(solved, points, ask)
    names = chosen([*figures, *(name for name, *_ in wanted)], asked)
    figures, wanted = {name: figures[name] for name in figures if name in names}, [some for some in wanted if some[0] in names]
    if wanted:
        duals = solved.operator.proxy_solve(np.stack([functional for *_, functional in wanted], axis=1)).T.copy()
        figures |= {name: Figure(value, scale, [(u, dual)], least, family)
                    for (name, value, scale, least, family, _), dual in zip(wanted, duals, strict=True)}
    return figures


def _terminals(solved: HarmonicSolution, part: Part) -> dict[str, Figure]:
    name, omega, current = part.name, solved.omega, abs(solved.currents[part.name])
    u, own = solved.solution.total, solved.unit_fields[part.name]
    pairs, figures = [(u, 2 * math.pi / current * own)], {}
    if not part.filament:
        inductance = solved.inductance(name)
        scale = max(abs(inductance), SHARE_OF_OWN * abs(solved.mutual_inductance(name, name).real))
        figures[f"inductance {name}"] = Figure(inductance, scale, pairs, ENERGY if len(solved.currents) == 1 else 0.0)
        if part.zones and solved.system.coil_resistance[name] is not None:
            resistance = solved.impedance(name).real
            scale = max(abs(resistance), SHARE_OF_OWN * solved.system.coil_resistance[name])
            figures[f"resistance {name}"] = Figure(resistance, scale, [(omega * a, b) for a, b in pairs])
    if len(solved.problem.section.parts) > 1 and not (part.zones and not part.stranded):
        change = solved.impedance_change(name)
        if abs(change) < NOTHING * omega * abs(solved.mutual_inductance(name, name)):
            return {key: figure for key, figure in figures.items() if figure.scale > 0}
        reaction = 2 * math.pi * (own - solved.alone_field(name))
        figures[f"resistance change {name}"] = Figure(change.real, abs(change.real), [(omega / current * u, reaction)])
        figures[f"inductance change {name}"] = Figure(change.imag / omega, abs(change.imag / omega), [(u / current, reaction)])
    return {key: figure for key, figure in figures.items() if figure.scale > 0}


def _ask_body(solved: HarmonicSolution, part: Part, ask) -> None:
    """Loss, net current and forces of a conducting body, in a strip mean B in place of forces."""
    name, omega, system = part.name, solved.omega, solved.system
    if not system.sigma[solved.mesh.part_triangles(name)].any():
        return
    loss, current = solved.loss(name), solved.net_current(name)
    ask(f"loss {name}", loss, loss, 2 * math.pi * omega**2 * system.part_product(name, solved.solution.total.conj()), least=HEAT)
    gross = solved.gross_current(part)
    ask(f"current {name}", current, max(abs(current), SHARE_OF_OWN * gross), -1j * omega * system.part_vector(name), least=HEAT)
    if isinstance(solved.problem.section, AxialStrip):
        mean = solved.mean_flux_density(name)
        ask(f"mean {name}", mean, abs(mean), force.mean_functional(solved.mesh, name))
    elif (system.nu[solved.mesh.part_triangles(name)] == system.nu.max()).all():
        radial, axial = solved.force(name)
        by_radial, by_axial = _force_functionals(solved, part)
        ask(f"radial force {name}", radial, max(abs(radial), FORCE_SCALE * abs(axial)), by_radial)
        ask(f"axial force {name}", axial, max(abs(axial), FORCE_SCALE * abs(radial)), by_axial)


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


def _ask_peaks(solved: HarmonicSolution, ask) -> None:
    for region, rivals in bore_rivals(solved.problem.section, solved.solution).items():
        functional = sum(along_field(solved.solution, peak) for peak in rivals) / len(rivals)
        ask(f"peak {region}", rivals[0].value, rivals[0].value, functional)


def _ask_axis(solved: HarmonicSolution, ask) -> None:
    heights = axis_heights(solved.problem.section)
    B_z = solved.solution.flux_density(np.zeros_like(heights), heights)[1]
    for z, value in zip(heights, B_z, strict=True):
        functional = force.point_functional(solved.mesh, 0.0, float(z), (0.0, 1.0))
        ask(f"axis {z:.9g}", complex(value), float(np.abs(B_z).max()), functional, family="axis")
    if solved.problem.applied_field:
        moment = solved.dipole_moment()
        functional = np.zeros(solved.mesh.size)
        for part in solved.problem.section.bodies:      # m = integral of pi r^2 J: the moment of the induced current
            functional = functional + solved.omega * math.pi * np.abs(solved.system.part_product(part.name, np.ones(solved.mesh.size)))
        ask("dipole moment", moment, abs(moment), functional, least=HEAT)


def _ask_points(solved: HarmonicSolution, points: tuple[tuple[float, float], ...], ask) -> None:
    for k, (r, z) in enumerate(points):
        B = np.array([complex(part) for part in solved.solution.flux_density(r, z)])
        scale = float(largest_length(*B))
        for value, name, direction in zip(B, "rz", ((1.0, 0.0), (0.0, 1.0)), strict=True):
            ask(f"B_{name} at point {k}", complex(value), scale, force.point_functional(solved.mesh, r, z, direction), family="points")
