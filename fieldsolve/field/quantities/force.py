"""Forces on a part by two routes, J x B over its metal and Maxwell's stress over the air around, and functionals of the field."""
from __future__ import annotations

import math

import numpy as np

from fieldsolve.constants import MU_0
from fieldsolve.field.fem import kelvin_transform
from fieldsolve.field.fem.assembly import vector
from fieldsolve.field.fem.point_location import locate
from fieldsolve.field.fem.quadrature import gauss_points, sample
from fieldsolve.field.system.conductors import unit_density
from geometries.cross_section import CrossSection
from geometries.errors import InputError
from geometries.mesh import EXTERIOR, Mesh
from geometries.parts import Part

ROUTES = ("J x B", "stress")


def checked_route(route: str) -> str:
    """One of the two ways to compute a force; InputError for any other word."""
    if route not in ROUTES:
        raise InputError(f"route = {route!r}: choose {' or '.join(map(repr, ROUTES))}")
    return route


def axial_force_functional(mesh: Mesh, part: Part) -> np.ndarray:
    """Vector f with f . u the axial force in newton on one ampere per turn: -2 pi integral of J B_r r, B_r = -r u_z; shape (n,).

    A filament feels B_r at its own point, so u must then be the field of the other sources.
    """
    if part.filament:
        return _filament_functional(mesh, part)
    if part.sheet:
        return _sheet_functional(mesh, part)
    triangles = mesh.part_triangles(part.name)
    points = gauss_points(mesh, triangles)
    weight = 2 * math.pi * unit_density(mesh, part, points) * points.r**2 * points.dA
    return vector(mesh, triangles, np.einsum("mq,mqa->ma", weight, points.gradient[:, :, 1]))


def _filament_functional(mesh: Mesh, part: Part) -> np.ndarray:
    """2 pi a^2 u_z, the mean over the triangles that meet at the filament's node."""
    node = mesh.filament_node[part.name]
    triangles = np.flatnonzero((mesh.triangles[:, :3] == node).any(axis=1))
    corner = np.eye(3)[(mesh.triangles[triangles, :3] == node).argmax(axis=1)]
    points = sample(mesh, triangles, corner[:, None])
    local = 2 * math.pi * part.filament.radius**2 * points.gradient[:, 0, 1] / len(triangles)
    return vector(mesh, triangles, local)


def _sheet_functional(mesh: Mesh, part: Part) -> np.ndarray:
    """2 pi a^2 K times the integral of u_z along the sheet, that is the difference of u between its ends."""
    sheet, nodes = part.sheet, np.unique(mesh.sheet_edges[part.name])
    heights = mesh.nodes[nodes, 1]
    functional = np.zeros(mesh.size)
    strength = 2 * math.pi * sheet.radius**2 * sheet.turns / (sheet.z_max - sheet.z_min)
    functional[nodes[heights.argmax()]], functional[nodes[heights.argmin()]] = strength, -strength
    return functional


def force_by_stress(section: CrossSection, mesh: Mesh, u: np.ndarray, part: Part) -> tuple[float, float]:
    """Radial and axial force in newton by Maxwell's stress over the air round the part; u is the total field (phasors: time mean).

    F_z = -2 pi integral of (T_zr g_r + T_zz g_z) r,  F_r = -2 pi integral of [(T_rr g_r + T_rz g_z) r + T_phiphi g], where the
    weight g falls from 1 at the part to 0 before the next one; T_rr = -T_zz = (B_r^2 - B_z^2) / (2 mu_0), T_rz = B_r B_z / mu_0 and
    T_phiphi = -B^2 / (2 mu_0), the hoop term.  The radial force holds for parts that are not permeable.
    """
    g = stress_weight(section, mesh, part)
    triangles = np.flatnonzero((mesh.region != EXTERIOR) & (np.abs(g[mesh.triangles]).max(axis=1) > 0))
    points = gauss_points(mesh, triangles)
    B_r, B_z = points.flux_density(u)
    weight, g_r, g_z = points.interpolate(g)
    mean = 0.5 if np.iscomplexobj(u) else 1.0
    rr, zz, rz = (mean * (x * y.conjugate()).real for x, y in ((B_r, B_r), (B_z, B_z), (B_r, B_z)))
    axial = (rz * g_r + 0.5 * (zz - rr) * g_z) * points.r
    radial = (0.5 * (rr - zz) * g_r + rz * g_z) * points.r - 0.5 * (rr + zz) * weight
    return tuple(float(-2 * math.pi / MU_0 * (f * points.dA).sum()) for f in (radial, axial))


def stress_weight(section: CrossSection, mesh: Mesh, part: Part) -> np.ndarray:
    """Weight g at the nodes: 1 up to a fifth of the clearance, 0 from four fifths, smooth between; shape (n,)."""
    from scipy.spatial import cKDTree
    own = surface_points(part)
    others = [surface_points(other) for other in section.parts if other is not part]
    arc = mesh.nodes[mesh.arc_edges.ravel()] if len(mesh.arc_edges) else np.zeros((0, 2))
    tree = cKDTree(own)
    clearance = float(tree.query(np.concatenate([*others, arc]))[0].min())
    if not clearance > 1e-6 * np.ptp(own, axis=0).max(initial=1e-12):
        raise InputError(f"{part.name} touches another part: the force between them has no second route; use route='J x B'")
    distance = tree.query(mesh.nodes)[0]
    ramp = np.clip((distance / clearance - 0.2) / 0.6, 0, 1)
    g = 1 - ramp**3 * (10 - 15 * ramp + 6 * ramp**2)
    g[mesh.triangles[mesh.part_triangles(part.name)]] = 1.0
    g[np.setdiff1d(mesh.triangles[mesh.region == EXTERIOR], mesh.arc_edges)] = 0.0
    return g


def surface_points(part: Part) -> np.ndarray:
    if part.filament:
        return np.array([[part.filament.radius, part.filament.z]])
    if part.sheet:
        return np.column_stack([np.full(400, part.sheet.radius), np.linspace(part.sheet.z_min, part.sheet.z_max, 400)])
    dense = np.linspace(0, 1, 100)
    return np.concatenate([edge.points(dense) for zone in part.zones for edge in zone.outline.edges])


def point_functional(mesh: Mesh, r: float, z: float, direction: tuple[complex, complex],
                     regions: tuple[int, ...] | None = None, first: np.ndarray | None = None) -> np.ndarray:
    """Vector f with f . u the component of B along `direction` at a point, inside the arc or beyond it; shape (n,).

    regions, first  where to look the point up, see `locate`
    """
    outside = regions is None and mesh.open_radius and math.hypot(r, z - mesh.centre) > mesh.open_radius
    at = kelvin_transform.image(mesh, np.array([r]), np.array([z])) if outside else (np.array([r]), np.array([z]))
    triangle, place = locate(mesh, *at, (EXTERIOR,) if outside else regions, slack=0.01, first=first)
    points = sample(mesh, triangle, place[:, None])
    value, by_r, by_z = points.value[0, 0], points.gradient[0, 0, 0], points.gradient[0, 0, 1]
    if outside:
        value, by_r, by_z = kelvin_transform.from_image(mesh, r, z, value, by_r, by_z)
    local = -direction[0] * r * by_z + direction[1] * (2 * value + r * by_r)
    functional = np.zeros(mesh.size, dtype=local.dtype)
    functional[mesh.triangles[triangle[0]]] = local
    return functional


def mean_functional(mesh: Mesh, part: str) -> np.ndarray:
    """Vector f with f . u the mean of B_z = 2u + r u_r over the volume of a part, in tesla; shape (n,)."""
    triangles = mesh.part_triangles(part)
    points = gauss_points(mesh, triangles)
    volume = points.r * points.dA
    integrand = 2 * points.value + points.r[..., None] * points.gradient[:, :, 0]
    return vector(mesh, triangles, np.einsum("mq,mqa->ma", volume, integrand) / volume.sum())
