"""Where |B| is largest in a region.

In air every Cartesian component of B is harmonic, so |B|^2 is subharmonic and its largest value lies on the region's border:
the bore's cylinder, its two ends, and the surfaces of what stands inside.  In a part all its nodes are candidates.
"""
from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fieldsolve.field.cells import sample
from fieldsolve.field.solution import Solution
from geometries.cross_section import AxialStrip, Bore, CrossSection
from geometries.errors import InputError
from geometries.mesh import AIR, Mesh

SAMPLES = 240           # points along each line of the bore's border
ZOOMS = 3               # times the surroundings of a largest point are sampled again, 8 times finer


@dataclass(frozen=True)
class Peak:
    """Largest |B| in tesla and its place in metres."""

    value: float
    r: float
    z: float


def peak_field(section: CrossSection | AxialStrip, solution: Solution, region: str, tie: float = 0.0) -> Peak:
    """Largest |B| in a bore or in a part; of places that differ by less than `tie` tesla the one nearest z = 0, then z >= 0.

    Raises InputError for an unknown region and at line currents, where the field has no bound.
    """
    if not isinstance(section, AxialStrip) and (region in section.bores or region.startswith("bore")):
        bore = section.bore(region)
        refuse_line_currents(section, region)
        lines, triangles = _bore_border(section, solution.mesh, bore), np.flatnonzero(solution.mesh.region == AIR)
    else:
        part = section.part(region)
        if not part.zones:
            raise InputError(f"the field at {region}, a line current without section, has no largest value: ask at points")
        triangles = solution.mesh.part_triangles(region)
        lines = [_strongest_nodes(solution, triangles)]
    return _largest(solution, lines, triangles, tie)


def refuse_line_currents(section: CrossSection, region: str) -> None:
    """InputError where a filament or a sheet lies in or on the region."""
    bore = section.bore(region)
    for part in section.parts:
        r_min, _, z_min, z_max = part.bounds
        if not part.zones and r_min <= bore.radius * (1 + 1e-9) and z_max >= bore.z_min and z_min <= bore.z_max:
            raise InputError(f"the field at {part.name}, a line current without section, has no largest value: "
                             "ask for the field at points, or give the coil a wire")


def _bore_border(section: CrossSection, mesh: Mesh, bore: Bore) -> list[np.ndarray]:
    """Points (q, 2) along the bore's cylinder, its two ends, and one by one the border nodes of metal inside."""
    z, r = np.linspace(bore.z_min, bore.z_max, SAMPLES), np.linspace(0, bore.radius, SAMPLES // 2)
    landmarks = [edge.start for part in section.parts for zone in part.zones for edge in zone.outline.edges]
    on_cylinder = [p[1] for p in landmarks if abs(p[0] - bore.radius) < 1e-9 * bore.radius]      # the wires' innermost points
    z = np.unique([*z, *[height for height in on_cylinder if bore.z_min <= height <= bore.z_max]])
    lines = [np.column_stack([np.full_like(z, bore.radius), z])]
    lines += [np.column_stack([r, np.full_like(r, end)]) for end in (bore.z_min, bore.z_max)]
    surface = np.intersect1d(mesh.triangles[mesh.region == AIR], mesh.triangles[mesh.region > AIR])
    nodes = mesh.nodes[surface]
    inside = (nodes[:, 0] < bore.radius * (1 - 1e-9)) & (nodes[:, 1] >= bore.z_min) & (nodes[:, 1] <= bore.z_max)
    return lines + [point[None] for point in nodes[inside]]


def _strongest_nodes(solution: Solution, triangles: np.ndarray, count: int = 40) -> np.ndarray:
    corners = np.broadcast_to(np.eye(3), (len(triangles), 3, 3))
    points = sample(solution.mesh, triangles, corners)
    B_r, B_z = points.flux_density(solution.u)
    strength = np.hypot(B_r, B_z + solution.applied_field).ravel()
    strongest = np.argsort(strength)[-count:]
    return np.column_stack([points.r.ravel(), points.z.ravel()])[strongest]


def _largest(solution: Solution, lines: list[np.ndarray], triangles: np.ndarray, tie: float) -> Peak:
    places = np.concatenate(lines)
    strength = np.full(len(places), -np.inf)
    from fieldsolve.field.locate import locate
    inside = locate(solution.mesh, places[:, 0], places[:, 1], allowed=triangles)[0] >= 0
    strength[inside] = _strength(solution, places[inside], triangles)
    starts = np.cumsum([0, *map(len, lines)])
    peaks = []
    for start, line in zip(starts, lines, strict=False):
        for k in _local_maxima(strength[start:start + len(line)]):
            if strength[start + k] > 0.98 * strength.max():
                peaks.append(_zoomed(solution, line, k, triangles) if len(line) > 1 else
                             Peak(float(strength[start]), *map(float, line[0])))
    best = max(peak.value for peak in peaks)
    return min((p for p in peaks if p.value >= best - tie), key=lambda p: (round(abs(p.z), 9), p.z < 0))


def _local_maxima(strength: np.ndarray) -> np.ndarray:
    padded = np.concatenate([[-np.inf], strength, [-np.inf]])
    return np.flatnonzero((strength >= padded[:-2]) & (strength >= padded[2:]) & np.isfinite(strength))


def _zoomed(solution: Solution, line: np.ndarray, k: int, triangles: np.ndarray) -> Peak:
    """Best point between the neighbours of point k of a line."""
    before, place, after = line[max(k - 1, 0)], line[k], line[min(k + 1, len(line) - 1)]
    for _ in range(ZOOMS):
        share = np.linspace(0, 1, 9)[:, None]
        points = np.concatenate([before + share[:-1] * (place - before), place + share * (after - place)])
        strength = _strength(solution, points, triangles)
        best = int(strength.argmax())
        before, place, after = points[max(best - 1, 0)], points[best], points[min(best + 1, len(points) - 1)]
    return Peak(float(strength[best]), *map(float, place))


def _strength(solution: Solution, places: np.ndarray, triangles: np.ndarray) -> np.ndarray:
    from fieldsolve.field.locate import locate
    inside = locate(solution.mesh, places[:, 0], places[:, 1], allowed=triangles)[0] >= 0
    strength = np.full(len(places), -np.inf)
    if inside.any():
        strength[inside] = np.hypot(*solution.flux_density(*places[inside].T, triangles=triangles))
    return strength
