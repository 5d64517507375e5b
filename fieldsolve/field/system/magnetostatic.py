"""The mesh and the materials become matrices and load vectors."""
from __future__ import annotations

import numpy as np
from scipy.sparse import csc_array

from fieldsolve.constants import NU_0
from fieldsolve.field.fem import element_matrices, kelvin_transform, quadrature
from fieldsolve.field.fem.assembly import lower_triangle
from fieldsolve.field.fem.reference_triangle import edge_weights
from fieldsolve.field.system.coefficients import remanence
from fieldsolve.field.system.conductors import load
from geometries.cross_section import Section
from geometries.mesh import EXTERIOR, Mesh


def stiffness_local(mesh: Mesh, nu: np.ndarray, triangles: np.ndarray | None = None) -> np.ndarray:
    """Local matrices of some triangles, or all: the curl form inside, nu_0 r^3 grad w . grad v in the exterior domain; (k, entries)."""
    chosen = slice(None) if triangles is None else triangles
    triangles = np.arange(len(mesh.triangles)) if triangles is None else triangles
    exterior, curved = mesh.region[chosen] == EXTERIOR, mesh.curved[chosen]
    local = element_matrices.curl_matrices(mesh.corners_of(chosen), nu[chosen], exterior, mesh.order)
    inside, outside = curved & ~exterior, curved & exterior
    if inside.any():
        chosen = triangles[inside]
        local[inside] = quadrature.curl_products(quadrature.points_of_forms(mesh, chosen), nu[chosen, None])
    if outside.any():
        chosen = triangles[outside]
        local[outside] = quadrature.kelvin_products(quadrature.points_of_forms(mesh, chosen), nu[chosen, None])
    return local


def stiffness(mesh: Mesh, nu: np.ndarray) -> csc_array:
    """Lower triangle of K: the curl form and the term on the arc."""
    return assemble_stiffness(mesh, stiffness_local(mesh, nu))


def assemble_stiffness(mesh: Mesh, local: np.ndarray) -> csc_array:
    """Lower triangle of the sum of K's local matrices and the term on the arc."""
    return lower_triangle(mesh, local, kelvin_transform.arc_term(mesh) if mesh.open_radius else None)


def unit_conduction(mesh: Mesh, triangles: np.ndarray) -> np.ndarray:
    """Local matrices of r^3 u v of some triangles; shape (k, entries)."""
    local = element_matrices.conduction_matrices(mesh.corners_of(triangles), np.ones(len(triangles)), mesh.order)
    curved = mesh.curved[triangles]
    if curved.any():
        local[curved] = quadrature.conduction_products(mesh, triangles[curved])
    return local


def magnetization_load(section: Section, mesh: Mesh, nu: np.ndarray, applied_field: float) -> np.ndarray:
    """Load of remanence, nu B_rem, and of an applied uniform field B_0 on permeable metal; shape (n,)."""
    strength = np.where(mesh.region == EXTERIOR, 0.0, nu * remanence(section, mesh))
    return _axial_load(mesh, strength) + applied_field * reluctivity_load(mesh, nu)


def reluctivity_load(mesh: Mesh, nu: np.ndarray) -> np.ndarray:
    """Load of one tesla of uniform field on permeable metal, -(nu - nu_0) times the curl of v; shape (n,)."""
    return _axial_load(mesh, np.where(mesh.region == EXTERIOR, 0.0, NU_0 - nu))


def _axial_load(mesh: Mesh, strength: np.ndarray) -> np.ndarray:
    triangles = np.flatnonzero(strength)
    return load(mesh, triangles, "axial_curl", strength[triangles]) if len(triangles) else np.zeros(mesh.size)


def face_load(mesh: Mesh, face: str, field: float) -> np.ndarray:
    """Load of a tangential field H (A/m) on a strip's face: H r^2 v on the outer, -H r^2 v on the inner one; shape (n,)."""
    edges = mesh.face_edges[face]
    length = np.linalg.norm(mesh.nodes[edges[:, 1]] - mesh.nodes[edges[:, 0]], axis=1)
    sign = 1.0 if face == "outer" else -1.0
    local = sign * field * (mesh.nodes[edges[:, 0], 0] ** 2 * length)[:, None] * edge_weights(mesh.order)
    return np.bincount(edges.ravel(), weights=local.ravel(), minlength=mesh.size)
