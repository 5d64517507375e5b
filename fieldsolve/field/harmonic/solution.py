"""One time-harmonic field on one mesh at one frequency, and what is read off it.  Phasors are peak values with exp(+j omega t)."""
from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np

from fieldsolve.field.fem.nodal_field import NodalField
from fieldsolve.field.fem.point_location import locate
from fieldsolve.field.fem.quadrature import QuadraturePoints, gauss_points, sample
from fieldsolve.field.harmonic.gmres import HarmonicOperator, harmonic_operator
from fieldsolve.field.harmonic.isolated_coil import solve_isolated_coil
from fieldsolve.field.harmonic.problem import HarmonicProblem, closed_coils
from fieldsolve.field.quantities import force
from fieldsolve.field.quantities.peak_field import Peak, peak_field
from fieldsolve.field.system import magnetostatic
from fieldsolve.field.system.conductors import unit_density
from fieldsolve.field.system.eddy_current import EddySystem
from geometries.errors import InputError
from geometries.mesh import Mesh
from geometries.parts import Part
from geometries.pickling import fields_only


@dataclass(frozen=True, eq=False, repr=False)
class HarmonicSolution:
    """One field at one frequency on one mesh (a `SolvedField`).

    operator          K + j omega (M - C D C^T); it solves no more in a copy and after unpickling
    unit_fields       field (n,) of one ampere in each coil
    background_field  field (n,) without any coil current
    currents          ampere per turn of each coil that the drive makes
    isolated_fields   field (n,) of one ampere in a coil alone, of the coils that were solved for alone
    """

    problem: HarmonicProblem
    system: EddySystem
    operator: HarmonicOperator
    unit_fields: dict[str, np.ndarray]
    background_field: np.ndarray
    currents: dict[str, complex]
    isolated_fields: dict[str, np.ndarray] = field(default_factory=dict)

    __getstate__ = fields_only

    def __repr__(self) -> str:
        return f"HarmonicSolution({self.omega / (2 * math.pi):.6g} Hz, {self.mesh.size} unknowns)"

    @property
    def mesh(self) -> Mesh:
        """The mesh it was solved on."""
        return self.system.mesh

    @property
    def nu(self) -> np.ndarray:
        """Reluctivity of each triangle in m/H; (m,)."""
        return self.system.nu

    @property
    def omega(self) -> float:
        """Angular frequency in rad/s."""
        return self.operator.omega

    @cached_property
    def solution(self) -> NodalField:
        """The field of all currents and the applied field at the nodes."""
        u = self.background_field + sum(current * self.unit_fields[name] for name, current in self.currents.items())
        return NodalField(self.mesh, u.astype(complex), self.problem.applied_field)

    # ---- circuit ----------------------------------------------------------------------------------------------------

    def voltage(self, name: str) -> complex:
        """Terminal voltage of a coil: R_dc I + j omega times its flux linkage."""
        return self._resistance(name) * self.currents[name] + 1j * self.omega * self.flux_linkage(name)

    def _resistance(self, name: str) -> float:
        """Resistance to direct current in ohm; none for a line current, of which only what the metal around adds is of use."""
        resistance = self.system.coil_resistance[name]
        if resistance is None and self.problem.section.part(name).zones:
            raise InputError(f"{name} is stranded: its resistance needs fill= (the copper share) and material=")
        return resistance or 0.0

    def flux_linkage(self, name: str) -> complex:
        """Flux through all turns of a coil in weber, 2 pi s . u."""
        return 2 * math.pi * complex(self.system.unit_loads[name] @ self.solution.total)

    def impedance(self, name: str) -> complex:
        """V / I in ohm as solved."""
        return self.voltage(name) / self._driving_current(name)

    def inductance(self, name: str) -> float:
        """Im(V / I) / omega in henry as solved; needs no resistance."""
        return (self.flux_linkage(name) / self._driving_current(name)).real

    def mutual_inductance(self, one: str, other: str) -> complex:
        """Flux linkage of one coil per ampere in another in henry, both otherwise open, closed coils closed; complex with eddy currents."""
        field = self.unit_fields[other] + sum(c * self.unit_fields[k] for k, c in self._closed_currents(other).items())
        return 2 * math.pi * complex(self.system.unit_loads[one] @ field)

    def _closed_currents(self, driver: str) -> dict[str, complex]:
        """Currents in the closed coils per ampere in `driver`."""
        section = self.problem.section
        closed = [name for name in closed_coils(self.problem) if name != driver and section.part(name).is_coil]
        if not closed:
            return {}
        impedance = _impedances(self.system, self.omega, self.unit_fields)
        names = list(self.unit_fields)
        rows = [names.index(name) for name in closed]
        currents = np.linalg.solve(impedance[np.ix_(rows, rows)], -impedance[rows, names.index(driver)])
        return dict(zip(closed, currents, strict=True))

    def impedance_change(self, name: str) -> complex:
        """V / I less that of the same coil alone on the same mesh, in ohm; finite for line currents, needs no fill."""
        isolated, load = self.isolated_field(name), self.system.unit_loads[name]
        return 2j * math.pi * self.omega * complex(load @ (self.solution.total / self._driving_current(name) - isolated))

    def isolated_field(self, name: str) -> np.ndarray:
        """Field of one ampere in a coil alone, on this mesh; shape (n,).  InputError where it was not solved for."""
        if len(self.problem.section.parts) == 1:
            return self.unit_fields[name]
        if name not in self.isolated_fields:
            raise InputError(f"{name} was not solved for alone, with which its field must be compared: read it of "
                             f"field.with_coil_alone({name!r}), which solves that too")
        return self.isolated_fields[name]

    def with_coil_alone(self, name: str) -> HarmonicSolution:
        """The same solution with the field of one coil alone, which is solved for unless it is there."""
        if name in self.isolated_fields:
            return self
        alone = solve_isolated_coil(self.system, name, self.omega)
        return replace(self, isolated_fields={**self.isolated_fields, name: alone})

    def _driving_current(self, name: str) -> complex:
        current = self.currents[self.problem.section.part(name).name]
        if not abs(current) > 0:
            raise InputError(f"{name} carries no current, so it has no V / I: drive it by currents= or voltages=")
        return current

    # ---- metal ------------------------------------------------------------------------------------------------------

    def turn_voltages(self, name: str) -> np.ndarray:
        """Voltage of each solid turn of a coil, V_k = (I + j omega c_k . u) / G_k."""
        turns = self.system.turns_of(name)
        linked = (self.system.turn_vectors.T @ self.solution.total)[turns]
        return (self.currents[name] + 1j * self.omega * linked) / self.system.turn_conductance[turns]

    def net_current(self, name: str, zone: int | None = None) -> complex:
        """Current through the half section of a body or zone, -j omega c . u; of a coil its current per turn."""
        if self.problem.section.part(name).is_coil:
            return complex(self.currents[name])
        return -1j * self.omega * complex(self.system.part_vector(name, zone) @ self.solution.total)

    def gross_current(self, part: Part) -> float:
        """Integral of |J| over the section of a part in ampere."""
        points = gauss_points(self.mesh, self.mesh.part_triangles(part.name))
        return float((np.abs(self.density(part, points)) * points.dA).sum())

    def loss(self, name: str, zone: int | None = None) -> float:
        """Time mean of the ohmic heat of a part or zone in watt."""
        part, omega, u = self.problem.section.part(name), self.omega, self.solution.total
        if not part.is_coil:
            return math.pi * omega**2 * self.system.quadratic_form(name, u, zone)
        if not part.zones:
            raise InputError(f"the loss of {name}, a line current without section, is not defined: give the coil a wire")
        if part.stranded:
            return 0.5 * self._resistance(name) * abs(self.currents[name]) ** 2
        turns = self.system.turns_of(name) if zone is None else self.system.turns_of(name)[[zone]]
        V, G = self.turn_voltages(name) if zone is None else self.turn_voltages(name)[[zone]], self.system.turn_conductance[turns]
        linked = (self.system.turn_vectors.T @ u)[turns]
        crossed = (V.conj() * 1j * omega * linked).real.sum()
        return 0.5 * float((np.abs(V) ** 2 * G).sum() - 2 * crossed) + math.pi * omega**2 * self.system.quadratic_form(name, u, zone)

    def current_density(self, r, z) -> np.ndarray:
        """J_phi in A/m^2 at points in metres, zero outside metal; array of the points' shape."""
        r, z = np.broadcast_arrays(np.asarray(r, dtype=float), np.asarray(z, dtype=float))
        triangle, place = locate(self.mesh, r.ravel(), z.ravel())
        density = np.zeros(r.size, dtype=complex)
        for part in self.problem.section.parts:
            mine = np.flatnonzero(np.isin(triangle, self.mesh.part_triangles(part.name)))
            if len(mine):
                density[mine] = self.density(part, sample(self.mesh, triangle[mine], place[mine][:, None]))[:, 0]
        return density.reshape(r.shape)

    def density(self, part: Part, points: QuadraturePoints) -> np.ndarray:
        """J_phi at points of a part: sigma (V / (2 pi r) - j omega r u), in a stranded winding N I / area."""
        if part.stranded:
            return self.currents[part.name] * unit_density(self.mesh, part, points)
        sigma = self.system.sigma[points.triangles][:, None]
        density = -1j * self.omega * points.r * points.interpolate(self.solution.total)[0]
        if part.is_coil:
            turn = {region: V for region, V in zip(self._regions(part), self.turn_voltages(part.name), strict=True)}
            voltage = np.array([turn[region] for region in self.mesh.region[points.triangles]])[:, None]
            density = density + voltage / (2 * math.pi * np.maximum(points.r, 1e-300))
        return sigma * density

    def _regions(self, part: Part) -> list[int]:
        return [k + 1 for k, (name, _) in enumerate(self.mesh.regions) if name == part.name]

    # ---- force ------------------------------------------------------------------------------------------------------

    def force(self, name: str) -> tuple[float, float]:
        """Time mean of the radial and axial force in newton, integral of J x B over a part: f_r = J B_z, f_z = -J B_r."""
        part = self.problem.section.part(name)
        if not part.zones:
            return self._line_force(part)
        points = gauss_points(self.mesh, self.mesh.part_triangles(name))
        B_r, B_z = points.flux_density(self.solution.total)
        J = 0.5 * self.density(part, points).conj()
        volume = 2 * math.pi * points.r * points.dA
        return float((J * B_z * volume).real.sum()), float(-(J * B_r * volume).real.sum())

    def _line_force(self, part: Part) -> tuple[float, float]:
        """Axial force on a filament or sheet by what is not its own field in free space; its radial force is not finite."""
        own = self.currents[part.name]
        external = self.solution.total - own * self.isolated_field(part.name) if own else self.solution.total
        return math.nan, float(0.5 * (own.conjugate() * (force.axial_force_functional(self.mesh, part) @ external)).real)

    def force_by_stress(self, name: str) -> tuple[float, float]:
        """Time mean of the radial and axial force from Maxwell's stress."""
        section = self.problem.section
        return force.force_by_stress(section, self.mesh, self.solution.total, section.part(name))

    def peak(self, region: str, tie: float = 0.0) -> Peak:
        """Largest |B| over the cycle in a region, and its place."""
        return peak_field(self.problem.section, self.solution, region, tie)

    def dipole_moment(self) -> complex:
        """Magnetic moment along z in A m^2 of all currents, integral of pi r^2 J, and of permeable metal."""
        u, eddy = self.solution.total, self.system
        coils = sum(math.pi * current * eddy.unit_loads[name].sum() for name, current in self.currents.items())
        eddies = -1j * math.pi * self.omega * self.operator.conduction(u).sum()
        return complex(coils + eddies + eddy.magnetization_moment(u))

    def mean_flux_density(self, name: str) -> complex:
        """Mean of B_z over the volume of a part, in tesla."""
        return complex(force.mean_functional(self.mesh, name) @ self.solution.total)


def solve_at_frequency(problem: HarmonicProblem, eddy: EddySystem, omega: float,
                       isolated_fields: dict[str, np.ndarray] | None = None) -> HarmonicSolution:
    """Factor once, solve for one ampere in each coil and for the applied field, and let the circuit find the currents.

    isolated_fields  of coils that were solved for alone on this mesh
    """
    operator = harmonic_operator(eddy, omega)
    fields = [operator.solve(load) for load in drive_loads(problem, operator).T]
    return solution_of_fields(problem, operator, np.stack(fields, axis=1), isolated_fields)


def drive_loads(problem: HarmonicProblem, operator: HarmonicOperator) -> np.ndarray:
    """Loads of one ampere in each coil, and last that of what drives the field without them; (n, coils + 1)."""
    return np.stack([*operator.system.unit_loads.values(), _background_load(problem, operator)], axis=1)


def solution_of_fields(problem: HarmonicProblem, operator: HarmonicOperator, fields: np.ndarray,
                       isolated_fields: dict[str, np.ndarray] | None = None) -> HarmonicSolution:
    """The solution with these fields (n, coils + 1) of the `drive_loads`; the circuit finds the currents."""
    eddy, background = operator.system, fields[:, -1].copy()
    unit_fields = {name: field.copy() for name, field in zip(eddy.unit_loads, fields.T, strict=False)}
    currents = _currents(problem, eddy, operator.omega, unit_fields, background)
    return HarmonicSolution(problem=problem, system=eddy, operator=operator, unit_fields=unit_fields, background_field=background,
                            currents=currents, isolated_fields=isolated_fields or {})


def _background_load(problem: HarmonicProblem, operator: HarmonicOperator) -> np.ndarray:
    """Load of the applied uniform field, -j omega M (B_0 / 2) and the reluctivity step, and of a strip's faces."""
    B_0, eddy = problem.applied_field, operator.system
    load = np.zeros(eddy.mesh.size, dtype=complex)
    if B_0:
        induced = 1j * operator.omega * operator.conduction(np.full(eddy.mesh.size, 0.5))
        load += B_0 * (eddy.reluctivity_load() - induced)
    for face, H in (problem.face_fields or {}).items():
        load += H * magnetostatic.face_load(eddy.mesh, face, 1.0)
    return load


def _impedances(eddy: EddySystem, omega: float, unit_fields: dict[str, np.ndarray]) -> np.ndarray:
    """Z_ij in ohm of all coils; a resistance that is not known counts as none."""
    loads, fields = np.stack(list(eddy.unit_loads.values())), np.stack(list(unit_fields.values()))
    return 2j * math.pi * omega * (loads @ fields.T) + np.diag([eddy.coil_resistance[name] or 0.0 for name in unit_fields])


def _currents(problem: HarmonicProblem, eddy: EddySystem, omega: float, unit_fields: dict[str, np.ndarray],
              background: np.ndarray) -> dict[str, complex]:
    """Current of every coil: given, or from Z I = V - (voltage induced by the applied field)."""
    names = list(unit_fields)
    if not names:
        return {}
    current = np.array([complex(problem.currents.get(name, 0.0)) for name in names])
    voltage = problem.voltages | dict.fromkeys(closed_coils(problem), 0.0)
    unknown = [k for k, name in enumerate(names) if name in voltage]
    if unknown:
        impedance = _impedances(eddy, omega, unit_fields)
        induced = 2j * math.pi * omega * np.stack([eddy.unit_loads[name] for name in names]) @ (background + 0.5 * problem.applied_field)
        given = np.array([voltage[names[k]] for k in unknown]) - induced[unknown] - impedance[unknown] @ current
        current[unknown] = np.linalg.solve(impedance[np.ix_(unknown, unknown)], given)
    return dict(zip(names, current.tolist(), strict=True))
