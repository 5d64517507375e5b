"""How current is spread over metal: solid turns, stranded windings, filaments and sheets, and what solid metal conducts.

A solid turn at the voltage V carries J = sigma (V / (2 pi r) - r u_t): G = integral of sigma / (2 pi r), c = integral of sigma r v.
"""
from __future__ import annotations

import numpy as np

from fieldsolve.field.fem import element_matrices
from fieldsolve.field.fem.assembly import vector
from fieldsolve.field.fem.quadrature import QuadraturePoints, gauss_points, points_of_forms_in_metal
from fieldsolve.field.fem.reference_triangle import edge_weights
from geometries.mesh import Mesh
from geometries.parts import Part


def unit_current_load(mesh: Mesh, part: Part) -> np.ndarray:
    """Load vector s of one ampere per turn in `part`; shape (n,).

    Integral of J r^2 v with J of one ampere: the field is K u = s I, the flux linkage 2 pi s . u.
    """
    if part.filament:
        return _filament(mesh, part)
    if part.sheet:
        return _sheet(mesh, part)
    triangles = mesh.part_triangles(part.name)
    form = "current" if part.stranded else "turn"
    return load(mesh, triangles, form, _strengths(mesh, part))


def unit_density(mesh: Mesh, part: Part, points: QuadraturePoints) -> np.ndarray:
    """Current density of one ampere per turn at points in the part, in 1/m^2; shape (m, q)."""
    by_triangle = np.zeros(len(mesh.triangles))
    by_triangle[mesh.part_triangles(part.name)] = _strengths(mesh, part)
    strength = by_triangle[points.triangles, None]
    return np.broadcast_to(strength, points.r.shape) if part.stranded else strength / points.r


def _strengths(mesh: Mesh, part: Part) -> np.ndarray:
    """In each triangle of the part N / area where it is stranded, else 1 / (integral of 1/r): J = N I / area or I / (r integral of 1/r)."""
    zones = mesh.zone_triangles(part.name)
    points = gauss_points(mesh, np.concatenate(zones))
    shares = (points.dA if part.stranded else points.dA / points.r).sum(axis=1)
    counts = [len(zone) for zone in zones]
    totals = np.add.reduceat(shares, np.cumsum([0, *counts[:-1]]))
    turns = np.array([zone.turns if part.stranded else 1.0 for zone in part.zones])
    return np.repeat(turns / totals, counts)


LOADS = {        # each form of `weak_forms.py` on straight triangles, and its integrand at points (m, q, nodes) of curved ones
    "current": (element_matrices.current_vectors, lambda points, r: r**2 * points.value),
    "turn": (element_matrices.turn_vectors, lambda points, r: r * points.value),
    "axial_curl": (element_matrices.curl_vectors, lambda points, r: r * (2 * points.value + r * points.gradient[:, :, 0])),
}


def load(mesh: Mesh, triangles: np.ndarray, form: str, strength: float | np.ndarray) -> np.ndarray:
    """Load vector of a linear form of `weak_forms.py` over some triangles, strength constant on each; shape (n,)."""
    return vector(mesh, triangles, local_load(mesh, triangles, form, strength))


def local_load(mesh: Mesh, triangles: np.ndarray, form: str, strength: float | np.ndarray) -> np.ndarray:
    """The same triangle by triangle; shape (k, nodes)."""
    product, integrand = LOADS[form]
    strength = np.broadcast_to(strength, triangles.shape)
    local = product(mesh.corners_of(triangles), strength, mesh.order)
    curved = mesh.curved[triangles]
    if curved.any():
        points = points_of_forms_in_metal(mesh, triangles[curved])
        weights = points.dA * strength[curved, None]
        local[curved] = (weights[:, None] @ integrand(points, points.r[..., None]))[:, 0]
    return local


def _filament(mesh: Mesh, part: Part) -> np.ndarray:
    unit = np.zeros(mesh.size)
    unit[mesh.filament_node[part.name]] = part.filament.radius**2
    return unit


def _sheet(mesh: Mesh, part: Part) -> np.ndarray:
    """Line current N/length per metre along straight edges: the weights are exact for v, a polynomial."""
    edges = mesh.sheet_edges[part.name]
    length = np.linalg.norm(mesh.nodes[edges[:, 1]] - mesh.nodes[edges[:, 0]], axis=1)
    density = part.sheet.turns / (part.sheet.z_max - part.sheet.z_min)
    local = density * part.sheet.radius**2 * length[:, None] * edge_weights(mesh.order)
    return np.bincount(edges.ravel(), weights=local.ravel(), minlength=mesh.size)
