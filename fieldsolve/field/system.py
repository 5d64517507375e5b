"""The mesh and the materials become matrices and load vectors."""
from __future__ import annotations

import numpy as np
from scipy.sparse import csc_array

from fieldsolve.constants import NU_0
from fieldsolve.field import cells, element_matrices, open_space, weak_form
from fieldsolve.field.assembly import lower_triangle
from fieldsolve.field.conductors import load
from geometries.cross_section import AxialStrip, CrossSection
from geometries.errors import InputError
from geometries.mesh import OUTER, Mesh

Section = CrossSection | AxialStrip


def material_of(section: Section, part: str, zone: int):
    """Material of a zone; a body without one is an InputError, a coil without one is taken as non-magnetic."""
    owner = section.part(part)
    material = owner.zones[zone].material
    if material is None and not owner.is_coil:
        raise InputError(f"{part} has no material: give material=fs.material('copper') or fs.Material(...)")
    return material


def reluctivity(section: Section, mesh: Mesh) -> np.ndarray:
    """nu = 1 / (mu_0 mu_r) of each triangle, m/H, that of vacuum in metal with a magnetization curve; shape (m,)."""
    materials = [material_of(section, part, zone) for part, zone in mesh.regions]
    permeability = np.array([1.0, *[1.0 if m is None else m.relative_permeability for m in materials]])
    return NU_0 / permeability[np.maximum(mesh.region, 0)]


def is_magnetic(section: Section, part: str) -> bool:
    """Whether a part's metal is anything but as vacuum to a steady field."""
    return any(zone.material is not None and zone.material.is_magnetic for zone in section.part(part).zones)


def remanence(section: Section, mesh: Mesh) -> np.ndarray:
    """Remanent flux density along +z of each triangle, T; shape (m,)."""
    materials = [material_of(section, part, zone) for part, zone in mesh.regions]
    values = np.array([0.0, *[0.0 if m is None else m.remanence for m in materials]])
    return values[np.maximum(mesh.region, 0)]


def conductivity(section: Section, mesh: Mesh) -> np.ndarray:
    """sigma of each triangle of solid metal in S/m, zero in air and stranded windings; shape (m,)."""
    parts = [section.part(name) for name, _ in mesh.regions]
    materials = [material_of(section, part, zone) for part, zone in mesh.regions]
    values = [0.0 if m is None or part.stranded else m.conductivity for part, m in zip(parts, materials, strict=True)]
    return np.array([0.0, *values])[np.maximum(mesh.region, 0)]


def has_curve(section: Section, mesh: Mesh) -> np.ndarray:
    """Which triangles are metal with a magnetization curve; shape (m,)."""
    materials = [material_of(section, part, zone) for part, zone in mesh.regions]
    return np.array([False, *[m is not None and m.magnetization is not None for m in materials]])[np.maximum(mesh.region, 0)]


def smooth_sides(section: Section, mesh: Mesh) -> np.ndarray:
    """Number of the side each triangle is on, where the slopes of u jump by right from one side to another; shape (m,).

    They jump at borders of permeability, magnetization curve and remanence, at a current sheet, and between the two sheets of the domain.
    """
    marks = [reluctivity(section, mesh), remanence(section, mesh), has_curve(section, mesh), (mesh.region == OUTER).astype(float)]
    centroid_r = mesh.corners[:, :, 0].mean(axis=1)
    marks += [(centroid_r < part.sheet.radius).astype(float) for part in section.parts if part.sheet]
    return np.unique(np.stack(marks, axis=1), axis=0, return_inverse=True)[1].ravel()


def stiffness_local(mesh: Mesh, nu: np.ndarray, triangles: np.ndarray | None = None) -> np.ndarray:
    """Local matrices of some triangles, or all: the curl form inside, nu_0 r^3 grad w . grad v on the outer sheet; shape (k, 21)."""
    triangles = np.arange(len(mesh.triangles)) if triangles is None else triangles
    outer, curved = mesh.region[triangles] == OUTER, mesh.curved[triangles]
    local = element_matrices.curl_matrices(mesh.corners[triangles], nu[triangles], outer)
    inside, beyond = curved & ~outer, curved & outer
    if inside.any():
        some = triangles[inside]
        local[inside] = cells.curl_products(cells.quadrature(mesh, some, cells.FORM_RULE), nu[some, None])
    if beyond.any():
        some = triangles[beyond]
        local[beyond] = weak_form.local_matrices(weak_form.kelvin, weak_form.triangle_basis(mesh, some), nu=nu[some])
    return local


def stiffness(mesh: Mesh, nu: np.ndarray) -> csc_array:
    """Lower triangle of K: the curl form and the term on the arc."""
    return assembled(mesh, stiffness_local(mesh, nu))


def assembled(mesh: Mesh, local: np.ndarray) -> csc_array:
    """Lower triangle of the sum of K's local matrices and the term on the arc."""
    return lower_triangle(mesh, local, open_space.arc_term(mesh) if mesh.open_radius else None)


def unit_conduction(mesh: Mesh, triangles: np.ndarray) -> np.ndarray:
    """Local matrices of r^3 u v of some triangles; shape (k, 21)."""
    local = element_matrices.conduction_matrices(mesh.corners[triangles], np.ones(len(triangles)))
    curved = mesh.curved[triangles]
    if curved.any():
        local[curved] = cells.conduction_products(mesh, triangles[curved])
    return local


def magnetization_load(section: Section, mesh: Mesh, nu: np.ndarray, applied_field: float) -> np.ndarray:
    """Load of remanence, nu B_rem, and of an applied uniform field B_0 on permeable metal; shape (n,)."""
    strength = np.where(mesh.region == OUTER, 0.0, nu * remanence(section, mesh))
    return _axial_load(mesh, strength) + applied_field * reluctivity_load(mesh, nu)


def reluctivity_load(mesh: Mesh, nu: np.ndarray) -> np.ndarray:
    """Load of one tesla of uniform field on permeable metal, -(nu - nu_0) times the curl of v; shape (n,)."""
    return _axial_load(mesh, np.where(mesh.region == OUTER, 0.0, NU_0 - nu))


def _axial_load(mesh: Mesh, strength: np.ndarray) -> np.ndarray:
    triangles = np.flatnonzero(strength)
    return load(mesh, triangles, "axial_curl", strength[triangles]) if len(triangles) else np.zeros(mesh.size)


def face_load(mesh: Mesh, face: str, field: float) -> np.ndarray:
    """Load of a tangential field H (A/m) on a strip's face: H r^2 v on the outer, -H r^2 v on the inner one; shape (n,)."""
    edges = mesh.face_edges[face]
    length = np.linalg.norm(mesh.nodes[edges[:, 1]] - mesh.nodes[edges[:, 0]], axis=1)
    sign = 1.0 if face == "outer" else -1.0
    local = sign * field * (mesh.nodes[edges[:, 0], 0] ** 2 * length)[:, None] * np.array([1, 1, 4]) / 6
    return np.bincount(edges.ravel(), weights=local.ravel(), minlength=mesh.size)
