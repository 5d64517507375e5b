"""How fast errors fall on nested meshes, by the order of the triangles.

A sphere of relative permeability 10 in a uniform field, whose closed form is smooth on both sides of its curved surface: u is constant
inside, and B_0/2 + mu_0 m / (4 pi rho^3) outside (J. D. Jackson, Classical Electrodynamics, section 5.11).  Its moment is that field's
energy but for a factor.  And the inductance of a ring of round section, whose current density jumps at a curved border; what it
converges to is the value of order 4 on the finest mesh.  Each mesh has the triangles of the one before in four, and its
curved edges follow the outlines by their own order.
"""
from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache

import numpy as np

import fieldsolve as fs
import geometries as geo
from fieldsolve.constants import MU_0
from fieldsolve.field.fem.quadrature import gauss_points
from fieldsolve.field.static.solution import StaticProblem, solve_on_mesh
from geometries.mesh import AIR, EXTERIOR, Mesh
from geometries.mesh_refinement import refine_uniformly
from geometries.mesher import mesh_section
from geometries.node_layout import ORDERS

RADIUS, PERMEABILITY = 10e-3, 10.0
MOMENT = 4 * math.pi * RADIUS**3 / MU_0 * (PERMEABILITY - 1) / (PERMEABILITY + 2)           # in a field of 1 T
METAL = fs.Material(name="metal", conductivity=1e6, relative_permeability=PERMEABILITY)
SPHERE = geo.CrossSection([geo.sphere(radius=RADIUS, material=METAL)])
RING = geo.CrossSection([geo.ring(radius=10e-3, wire_diameter=8e-3, stranded=True)])
LEVELS = 4                  # meshes of the sphere and the ring in each order
FIRST_SCALE = {2: 1.0, 3: 1.5, 4: 2.0}      # factor on the mesher's first guess
COLUMNS = ("order p", "quantity", "unknowns", "relative errors", "slopes", "expected")
QUANTITIES = {"u": lambda p: p + 1, "B": lambda p: p, "moment": lambda p: 2 * p, "inductance": lambda p: 2 * p}


@dataclass(frozen=True)
class Slopes:
    """Relative errors on nested meshes: order of the triangles, quantity, unknowns and errors (k,), the expected slope."""

    order: int
    quantity: str
    unknowns: tuple[int, ...]
    errors: tuple[float, ...]
    expected: int

    @property
    def slopes(self) -> tuple[float, ...]:
        """Powers of the size with which the error falls from mesh to mesh."""
        return tuple(math.log2(coarse / fine) for coarse, fine in zip(self.errors, self.errors[1:], strict=False))


def nested_meshes(section: geo.CrossSection, order: int, count: int, scale: float) -> Iterator[Mesh]:
    """A coarse mesh, and those with each triangle in four."""
    mesh = mesh_section(section, scale=scale, order=order)
    yield mesh
    for _ in range(count - 1):
        mesh = refine_uniformly(section, mesh)
        yield mesh


def sphere_errors(mesh: Mesh) -> dict[str, float]:
    """Relative errors of u and B in L2 inside the arc, weighted as in the weak form, and of the moment."""
    solved = solve_on_mesh(StaticProblem(SPHERE, {}, applied_field=1.0), mesh)
    inside = np.flatnonzero(mesh.region != EXTERIOR)
    points = gauss_points(mesh, inside, mesh.order + 6)
    r, rho = points.r, np.hypot(points.r, points.z)
    outside = (mesh.region[inside] == AIR)[:, None]
    dipole = np.where(outside, MU_0 * MOMENT / (4 * math.pi) / rho**3, 0.5 * (3 * PERMEABILITY / (PERMEABILITY + 2) - 1))
    by_rho = np.where(outside, -3 * dipole / rho**2, 0.0)                         # over rho: u_r = r times this, u_z = z times this
    u, B = points.interpolate(solved.solution.total)[0], points.flux_density(solved.solution.total)
    exact_u, exact_B = 0.5 + dipole, (-r * points.z * by_rho, 2 * (0.5 + dipole) + r**2 * by_rho)

    def norm(values: np.ndarray, power: int) -> float:
        return math.sqrt((r**power * values * points.dA).sum())
    of_u = norm((u - exact_u) ** 2, 3) / norm(exact_u**2, 3)
    of_B = norm(sum((b - e) ** 2 for b, e in zip(B, exact_B, strict=True)), 1) / norm(sum(e**2 for e in exact_B), 1)
    return {"u": of_u, "B": of_B, "moment": abs(solved.dipole_moment() / MOMENT - 1)}


def ring_inductance(mesh: Mesh) -> float:
    """Inductance of the ring in henry."""
    return solve_on_mesh(StaticProblem(RING, {"ring": 1.0}), mesh).inductance("ring", "ring")


@cache
def limit_of_inductance() -> float:
    """What the ring's inductance converges to."""
    *_, finest = nested_meshes(RING, 4, LEVELS, FIRST_SCALE[4])
    return ring_inductance(finest)


def slopes_of(order: int, levels: int = LEVELS) -> list[Slopes]:
    """The slopes of all quantities in an order."""
    meshes = list(nested_meshes(SPHERE, order, levels, FIRST_SCALE[order]))
    found = [sphere_errors(mesh) for mesh in meshes]
    rows = [(name, meshes, [errors[name] for errors in found]) for name in ("u", "B", "moment")]
    rings = list(nested_meshes(RING, order, levels - (order > 2), FIRST_SCALE[order]))
    rows.append(("inductance", rings, [abs(ring_inductance(mesh) / limit_of_inductance() - 1) for mesh in rings]))
    return [Slopes(order, name, tuple(mesh.size for mesh in on), tuple(errors), QUANTITIES[name](order)) for name, on, errors in rows]


def rows() -> list[tuple]:
    """The table of all orders, a row a quantity."""
    found = [row for order in ORDERS for row in slopes_of(order)]
    return [(row.order, row.quantity, *(", ".join(format(value, form) for value in values) for values, form in
             ((row.unknowns, "d"), (row.errors, ".1e"), (row.slopes, ".2f"))), row.expected) for row in found]
