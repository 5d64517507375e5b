"""Coefficients of the weak forms, one value per triangle, from the materials of the section's parts."""
from __future__ import annotations

import numpy as np

from fieldsolve.constants import NU_0
from geometries.cross_section import Section
from geometries.errors import InputError
from geometries.mesh import EXTERIOR, Mesh

RATE_AT_CORNER, RATE_AT_PERMEABLE_CORNER = 4.0, 4 / 3       # see `convergence_rates`


def material_of(section: Section, part: str, zone: int):
    """Material of a zone; a body without one is an InputError, a coil without one is taken as non-magnetic."""
    owner = section.part(part)
    material = owner.zones[zone].material
    if material is None and not owner.is_coil:
        raise InputError(f"{part} has no material: give it one, such as copper")
    if isinstance(material, str):
        raise InputError(f"{part}: material = {material!r} is a name: give the metal itself, fs.material({material!r})")
    return material


def linear_reluctivity(section: Section, mesh: Mesh) -> np.ndarray:
    """nu = 1 / (mu_0 mu_r) of each triangle, m/H, that of vacuum in metal with a B-H curve; shape (m,)."""
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


def has_magnet(section: Section) -> bool:
    """Whether any metal keeps a flux density of its own."""
    return any(zone.material is not None and zone.material.remanence for part in section.parts for zone in part.zones)


def conductivity(section: Section, mesh: Mesh) -> np.ndarray:
    """sigma of each triangle of solid metal in S/m, zero in air and stranded windings; shape (m,)."""
    parts = [section.part(name) for name, _ in mesh.regions]
    materials = [material_of(section, part, zone) for part, zone in mesh.regions]
    values = [0.0 if m is None or part.stranded else m.conductivity for part, m in zip(parts, materials, strict=True)]
    return np.array([0.0, *values])[np.maximum(mesh.region, 0)]


def is_saturable(material) -> bool:
    """Whether a metal has a B-H curve; None, no metal at all, has none."""
    return material is not None and material.bh_curve is not None


def has_bh_curve(section: Section, mesh: Mesh) -> np.ndarray:
    """Which triangles are metal with a B-H curve; shape (m,)."""
    materials = [material_of(section, part, zone) for part, zone in mesh.regions]
    return np.array([False, *map(is_saturable, materials)])[np.maximum(mesh.region, 0)]


def convergence_rates(section: Section, mesh: Mesh) -> np.ndarray:
    """Power of a triangle's size with which the energy of a field's error in it falls; (m,).

    In order p it is 2p.  Higher orders gain nothing more in triangles that touch a corner of an outline, at the distance rho of which
    u is smooth but for rho^2 log(rho), or for a power of rho from 2/3 on where the metal is permeable.  Grading the cells towards the
    corner makes up for it.
    """
    rates = np.full(len(mesh.triangles), 2.0 * mesh.order)
    if mesh.order == 2:
        return rates
    for part in section.parts:
        for zone in part.zones:
            permeable = zone.material is not None and zone.material.is_magnetic
            touching = _touches(mesh, zone.outline.corners)
            rates[touching] = np.minimum(rates[touching], RATE_AT_PERMEABLE_CORNER if permeable else RATE_AT_CORNER)
    return rates


def _touches(mesh: Mesh, points: np.ndarray) -> np.ndarray:
    """Which triangles have one of some points (k, 2) as a corner; (m,)."""
    if not len(points):
        return np.zeros(len(mesh.triangles), dtype=bool)
    near = 1e-9 * np.ptp(mesh.nodes, axis=0).max()
    at_point = (np.abs(mesh.nodes[:, None] - points).max(axis=2) < near).any(axis=1)
    return at_point[mesh.triangles[:, :3]].any(axis=1)


def smooth_subdomains(section: Section, mesh: Mesh) -> np.ndarray:
    """Number of the subdomain each triangle is in; the exact slopes of u jump only between subdomains; shape (m,).

    They jump at borders of permeability, B-H curve and remanence, at a current sheet, and between the inner and the exterior domain.
    """
    marks = [linear_reluctivity(section, mesh), remanence(section, mesh), has_bh_curve(section, mesh)]
    marks.append((mesh.region == EXTERIOR).astype(float))
    centroid_r = mesh.corners[:, :, 0].mean(axis=1)
    marks += [(centroid_r < part.sheet.radius).astype(float) for part in section.parts if part.sheet]
    return np.unique(np.stack(marks, axis=1), axis=0, return_inverse=True)[1].ravel()
