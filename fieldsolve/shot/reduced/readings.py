"""What is read off a reduced field: forms in its states p, their rates p' and the coils' currents I, projected from the whole field."""
from __future__ import annotations

import itertools
import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from fieldsolve.constants import MU_0
from fieldsolve.field.fem.gradient_recovery import recovery_operators
from fieldsolve.field.fem.quadrature import QuadraturePoints, sample
from fieldsolve.field.fem.reference_triangle import kept_entries
from fieldsolve.field.quantities import induced_currents
from fieldsolve.field.quantities.bore_peak import BoreBoundary, LocatedPoints
from fieldsolve.field.quantities.virtual_work import virtual_work_body_forces
from fieldsolve.field.reduced.projection import ReducedField
from fieldsolve.field.system.coefficients import is_magnetic
from fieldsolve.field.system.eddy_current import EddySystem
from fieldsolve.shot.observables.probes import Probes
from fieldsolve.shot.reduced.bore_series import BoreReading

Key = tuple[str, str]       # (quantity, place) as in a history


@dataclass(frozen=True, eq=False, repr=False)
class Readings:
    """Forms in w = (p, p', I), each of 2 m + coils entries.

    linear     rows r by key: the quantity is r . w
    quadratic  matrices Q by key: the quantity is w . Q w
    bores      what the largest |B| of each bore is found from
    """

    linear: dict[Key, np.ndarray]
    quadratic: dict[Key, np.ndarray]
    bores: dict[str, BoreReading]

    def __repr__(self) -> str:
        return f"Readings({len(self.linear)} linear, {len(self.quadratic)} quadratic, bores: {', '.join(self.bores) or 'none'})"

    def __contains__(self, key: object) -> bool:
        return key in self.linear or key in self.quadratic or key in self.bore_keys

    @cached_property
    def bore_keys(self) -> tuple[Key, ...]:
        """Those of the bores."""
        return tuple(("field", name) for name in self.bores)

    @property
    def keys(self) -> tuple[Key, ...]:
        """All of them by (quantity, place)."""
        return (*self.linear, *self.quadratic, *self.bore_keys)

    def evaluate(self, key: Key, w: np.ndarray) -> np.ndarray:
        """A quantity at instants w (k, 2 m + coils); (k,)."""
        if key in self.linear:
            return w @ self.linear[key]
        if key in self.quadratic:
            return np.einsum("ka,ka->k", w @ self.quadratic[key], w)
        bore = self.bores[key[1]]
        return bore.peaks(w[:, :bore.states])


@dataclass(frozen=True, eq=False)
class _Builder:
    """Builds the readings of a reduced field from the probes of the whole one."""

    system: EddySystem
    probes: Probes
    reduced: ReducedField

    @property
    def size(self) -> int:
        """Entries of w."""
        return 2 * self.reduced.states + len(self.reduced.coils)

    def _row(self, p=0.0, p_t=0.0, current: dict[str, float] | None = None) -> np.ndarray:
        m, row = self.reduced.states, np.zeros(self.size)
        row[:m], row[m:2 * m] = p, p_t
        for name, value in (current or {}).items():
            row[2 * m + self.reduced.coils.index(name)] = value
        return row

    def _matrix(self, rows: np.ndarray, columns: np.ndarray) -> np.ndarray:
        """Symmetric Q with w . Q w the sum over points of two forms' products; both (q, 2 m + coils)."""
        product = rows.T @ columns
        return 0.5 * (product + product.T)

    # ---- linear -----------------------------------------------------------------------------------------------------

    def linear(self) -> dict[Key, np.ndarray]:
        """Fluxes of the coils, net currents and rim voltages of the bodies."""
        V, rims = self.reduced.basis, self.probes.rim_points if self.probes.bodies else None
        found = {("flux", name): self._row(p=2 * math.pi * self.reduced.coupling[:, k]) for k, name in enumerate(self.reduced.coils)}
        for k, name in enumerate(self.probes.bodies):
            found["current", name] = self._row(p_t=-(self.system.part_vector(name) @ V))
            rim = sample(self.system.mesh, rims.triangles[k:k + 1], self.probes.rims.place[k:k + 1, None])
            values = np.array([rim.values_of(column)[0, 0] for column in V.T])
            found["loop_voltage", name] = self._row(p_t=-2 * math.pi * float(rim.r[0, 0]) ** 2 * values)
        return found

    # ---- fields at points and in bores ------------------------------------------------------------------------------

    def fields(self) -> tuple[dict[Key, np.ndarray], dict[Key, np.ndarray], dict[str, BoreReading]]:
        """B_z at points, pressures at rims, and the bores."""
        spots, matrices = self.probes.observation_operators
        value, u_r, u_z = (matrix @ self.reduced.basis for matrix in matrices)              # (all points, m)
        ends = np.cumsum([0, *(len(_points_of(spot).r) for spot in spots.values())])
        linear, quadratic, bores = {}, {}, {}
        for (name, spot), (start, end) in zip(spots.items(), itertools.pairwise(ends), strict=True):
            r = _points_of(spot).r[:, None]
            B = np.stack([-r * u_z[start:end], 2 * value[start:end] + r * u_r[start:end]])
            if isinstance(spot, BoreBoundary):
                bores[name] = self._bore(spot, B)
            elif isinstance(name, tuple):
                rows = np.stack([self._row(p=component) for component in B[:, 0]])
                quadratic["rim_pressure", name[1]] = self._matrix(rows, rows) / (2 * MU_0)
            else:
                linear["field", name] = self._row(p=B[1, 0])
        return linear, quadratic, bores

    def at_points(self, names: tuple[str, ...], points: LocatedPoints) -> dict[Key, np.ndarray]:
        """B_z ("field") and B_r ("radial_field") at named points."""
        matrices = recovery_operators(self.system.mesh, points.triangle, points.place, points.r, points.z)
        value, u_r, u_z = (matrix @ self.reduced.basis for matrix in matrices)
        found = {("field", name): self._row(p=2 * value[k] + points.r[k] * u_r[k]) for k, name in enumerate(names)}
        return found | {("radial_field", name): self._row(p=-points.r[k] * u_z[k]) for k, name in enumerate(names)}

    def _bore(self, boundary: BoreBoundary, B: np.ndarray) -> BoreReading:
        points = boundary.points
        rough = _flux_densities(sample(self.system.mesh, points.triangle, points.place[:, None]), self.reduced.basis)
        return BoreReading(boundary, B, rough[:, :, 0])

    # ---- powers, forces, energy -------------------------------------------------------------------------------------

    def quadratic(self) -> dict[Key, np.ndarray]:
        """Heat and force of each part, energy of the field."""
        m = self.reduced.states
        energy = np.zeros((self.size, self.size))
        energy[:m, :m] = math.pi * np.eye(m)
        found: dict[Key, np.ndarray] = {("energy", "field"): energy}
        for name, points in self.probes.sections.items():
            found["power", name] = self._power(name)
            found["radial_force", name], found["axial_force", name] = (
                self._virtual_work(name) if is_magnetic(self.system.section, name) else self._lorentz(points)
            )
        return found

    def _power(self, part: str) -> np.ndarray:
        """R I^2 + 2 pi u_t . (M - C D C^T) u_t over a part; of a stranded winding R I^2 alone."""
        m, system, Q = self.reduced.states, self.system, np.zeros((self.size, self.size))
        triangles = system.triangles(part)
        local = self.reduced.basis[system.mesh.triangles[triangles]]                         # (t, 6, m)
        products = system.local_conduction(triangles)[:, kept_entries(system.mesh.order).place] @ local
        form = local.reshape(-1, m).T @ products.reshape(-1, m)
        if part in self.reduced.coils:
            k = 2 * m + self.reduced.coils.index(part)
            Q[k, k] = system.coil_resistance[part]
            turns = system.turns_of(part)
            turn_rows = (system.turn_vectors.T @ self.reduced.basis)[turns]
            form -= turn_rows.T @ (turn_rows / (2 * math.pi * system.turn_conductance[turns, None]))
        Q[m:2 * m, m:2 * m] = math.pi * (form + form.T)
        return Q

    def _lorentz(self, points: QuadraturePoints) -> tuple[np.ndarray, np.ndarray]:
        """J x B over points: J is linear in p' and I, B in p."""
        m, mesh = self.reduced.states, self.system.mesh
        J = np.zeros((points.r.size, self.size))
        for k, column in enumerate(self.reduced.basis.T):
            J[:, m + k] = induced_currents.current_density(self.system, points, column, {}).ravel()
        for k, name in enumerate(self.reduced.coils):
            J[:, 2 * m + k] = induced_currents.current_density(self.system, points, np.zeros(mesh.size), {name: 1.0}).ravel()
        J *= (2 * math.pi * points.r * points.dA).ravel()[:, None]
        B_r, B_z = (np.pad(B.reshape(-1, m), ((0, 0), (0, self.size - m))) for B in _flux_densities(points, self.reduced.basis))
        return self._matrix(J, B_z), -self._matrix(J, B_r)

    def _virtual_work(self, part: str) -> tuple[np.ndarray, np.ndarray]:
        """The force on permeable metal, quadratic in u, from its values at sums of two basis fields."""
        m, V = self.reduced.states, self.reduced.basis

        def force(u: np.ndarray) -> np.ndarray:
            return virtual_work_body_forces(self.system, part, u, 0.0).sum(axis=0)
        alone = [force(column) for column in V.T]
        Q = np.zeros((2, self.size, self.size))
        for a in range(m):
            Q[:, a, a] = alone[a]
            for b in range(a):
                Q[:, a, b] = Q[:, b, a] = 0.5 * (force(V[:, a] + V[:, b]) - alone[a] - alone[b])
        return Q[0], Q[1]


def build_readings(system: EddySystem, probes: Probes, reduced: ReducedField, names: tuple[str, ...] = (),
                   points: LocatedPoints | None = None) -> Readings:
    """The readings of a reduced field of a system, at named points, too."""
    builder = _Builder(system, probes, reduced)
    linear, pressures, bores = builder.fields()
    linear |= builder.at_points(names, points) if points is not None else {}
    return Readings(builder.linear() | linear, builder.quadratic() | pressures, bores)


def _points_of(spot):
    return spot.points if isinstance(spot, BoreBoundary) else spot


def _flux_densities(points: QuadraturePoints, basis: np.ndarray) -> np.ndarray:
    """B_r and B_z of each basis field at the points; (2, t, q, m)."""
    return np.stack([np.stack(points.flux_density(column)) for column in basis.T], axis=-1)
