"""Matrices of a field with eddy currents: curl form K, conduction M, and the turns of solid coils as a border.

A solid turn k of a coil with given current I has J = sigma (V_k / (2 pi r) - r u_t) and I = G_k V_k - c_k . u_t.  Without V_k this is
K u + (M - sum c_k c_k^T / (2 pi G_k)) u_t = s I, with s = sum c_k / (2 pi G_k): a low-rank term beside sparse matrices.
"""
from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy.sparse import csc_array

from fieldsolve.field import system
from fieldsolve.field.assembly import lower_triangle
from fieldsolve.field.cells import quadrature
from fieldsolve.field.conductors import load, unit_current
from fieldsolve.field.element_matrices import COLUMNS, ROWS
from fieldsolve.field.linear_solver import whole
from fieldsolve.field.system import Section
from geometries.errors import InputError
from geometries.mesh import Mesh
from geometries.parts import Part


@dataclass(frozen=True, eq=False)
class EddySystem:
    """What does not depend on frequency or time.

    stiffness, conduction  lower triangles of K and M
    conduction_local       (m, 21) local matrices of M, for losses part by part
    unit_loads             load s of one ampere per turn of each coil
    turn_vectors           (n, k) c_k of each solid turn of the coils; turn_conductance (k,) G_k; turn_coil its coil's name
    """

    section: Section
    mesh: Mesh
    nu: np.ndarray
    sigma: np.ndarray
    stiffness: csc_array
    conduction: csc_array
    conduction_local: np.ndarray
    unit_loads: dict[str, np.ndarray]
    turn_vectors: np.ndarray
    turn_conductance: np.ndarray
    turn_coil: tuple[str, ...]

    @cached_property
    def whole_stiffness(self) -> csc_array:
        """K with both triangles."""
        return whole(self.stiffness)

    @cached_property
    def whole_conduction(self) -> csc_array:
        """M with both triangles."""
        return whole(self.conduction)

    def turns_of(self, coil: str) -> np.ndarray:
        """Numbers of the solid turns of a coil."""
        return np.array([k for k, name in enumerate(self.turn_coil) if name == coil], dtype=int)

    def part_vector(self, part: str, zone: int | None = None) -> np.ndarray:
        """c = integral of sigma r v over a part or one of its zones; shape (n,)."""
        triangles = self.triangles(part, zone)
        return load(self.mesh, triangles, "turn", self.sigma[triangles])

    def quadratic(self, part: str, u: np.ndarray, zone: int | None = None) -> float:
        """u* M u over a part or zone: integral of sigma r^3 |u|^2."""
        triangles = self.triangles(part, zone)
        local, values = self.conduction_local[triangles], u[self.mesh.triangles[triangles]]
        products = (values[:, ROWS].conj() * values[:, COLUMNS]).real
        return float((local * products * np.where(ROWS == COLUMNS, 1.0, 2.0)).sum())

    def part_product(self, part: str, u: np.ndarray) -> np.ndarray:
        """M u of one part alone; shape (n,)."""
        local = np.zeros_like(self.conduction_local)
        triangles = self.triangles(part)
        local[triangles] = self.conduction_local[triangles]
        lower = lower_triangle(self.mesh, local)
        return lower @ u + lower.T @ u - lower.diagonal() * u

    def triangles(self, part: str, zone: int | None = None) -> np.ndarray:
        """Numbers of the triangles of a part or of one of its zones."""
        return self.mesh.part_triangles(part) if zone is None else self.mesh.zone_triangles(part)[zone]

    @cached_property
    def coil_resistance(self) -> dict[str, float | None]:
        """Resistance of each coil to direct current in ohm; None for line currents and stranded windings without fill or material."""
        return {part.name: self._resistance(part) for part in self.section.parts if part.is_coil}

    def _resistance(self, part: Part) -> float | None:
        if not part.zones or (part.stranded and (part.fill is None or part.zones[0].material is None)):
            return None
        if not part.stranded:
            return float((1 / self.turn_conductance[self.turns_of(part.name)]).sum())
        total = 0.0
        for zone, triangles in zip(part.zones, self.mesh.zone_triangles(part.name), strict=True):
            points = quadrature(self.mesh, triangles)
            length = 2 * math.pi * (points.r * points.dA).sum() / points.dA.sum()
            total += zone.turns**2 * length / (zone.material.conductivity * part.fill * points.dA.sum())
        return total


def eddy_system(section: Section, mesh: Mesh) -> EddySystem:
    """Assemble the matrices of a cross-section on a mesh.  Raises InputError for a solid coil without material."""
    nu, sigma = system.reluctivity(section, mesh), system.conductivity(section, mesh)
    coils = [part for part in section.parts if part.is_coil]
    solid = [part for part in coils if part.zones and not part.stranded]
    for part in solid:
        if any(zone.material is None or zone.material.conductivity <= 0 for zone in part.zones):
            raise InputError(f"{part.name}, a coil of solid turns, has no conducting material: give material=fs.material('copper'), "
                             "or stranded=True")
    local = system.conduction_local(mesh, sigma)
    turns = [(part.name, triangles) for part in solid for triangles in mesh.zone_triangles(part.name)]
    vectors = [load(mesh, triangles, "turn", sigma[triangles]) for _, triangles in turns]
    return EddySystem(section, mesh, nu, sigma, system.stiffness(mesh, nu), lower_triangle(mesh, local), local,
                      {part.name: unit_current(mesh, part) for part in coils},
                      np.stack(vectors, axis=1) if vectors else np.zeros((mesh.size, 0)),
                      np.array([_conductance(mesh, triangles, sigma) for _, triangles in turns]), tuple(name for name, _ in turns))


def _conductance(mesh: Mesh, triangles: np.ndarray, sigma: np.ndarray) -> float:
    points = quadrature(mesh, triangles)
    return float((sigma[triangles, None] * points.dA / points.r).sum() / (2 * math.pi))
