"""Where |B| is largest in a region.

In air every Cartesian component of B is harmonic, so |B|^2 is subharmonic and its largest value lies on the region's border:
the bore's cylinder, its two ends, and the surfaces of what stands inside.  In a part its
strongest nodes are candidates.
"""
from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from fieldsolve.field.fem.nodal_field import NodalField
from fieldsolve.field.fem.point_location import locate
from fieldsolve.field.fem.quadrature import sample
from geometries.cross_section import AxialStrip, Bore, CrossSection
from geometries.errors import InputError
from geometries.mesh import AIR, EDGE_NODES, Mesh, Topology
from geometries.parts import Part

SAMPLES = 240           # points along each line of the bore's border
NEAR_MAXIMUM = 0.97     # share of the largest value from which a local maximum is searched more closely
MAX_RIVALS = 6              # at most
MIN_DISTANCE = 0.02            # of the region's extent that they are from each other at least: a disc's two edges are two places
ZOOMS = 2               # times the surroundings of a largest point are sampled again, 4 times finer


@dataclass(frozen=True)
class Peak:
    """Largest |B| in tesla and its place in metres."""

    value: float
    r: float
    z: float


def peak_field(section: CrossSection | AxialStrip, solution: NodalField, region: str, tie: float = 0.0) -> Peak:
    """Largest |B| in a bore or in a part; of places that differ by less than `tie` tesla the one nearest z = 0, then z >= 0.

    Raises InputError for an unknown region, at line currents and at edges of magnetic metal, where the field has no bound.
    """
    lines, regions = _candidate_points(section, solution, region)
    peaks = _local_peaks(solution, lines, regions)
    step = 2 * np.ptp(np.concatenate(lines)[:, 1]) / SAMPLES or 1.0          # mirror images count as equally near
    return min((p for p in peaks if p.value >= peaks[0].value - tie), key=lambda p: (round(abs(p.z) / step), p.z < 0))


def rival_peaks(section: CrossSection | AxialStrip, solution: NodalField, region: str) -> list[Peak]:
    """The largest |B| in a region and, well apart, the few places that come so near that a finer mesh may prefer them."""
    lines, regions = _candidate_points(section, solution, region)
    apart = MIN_DISTANCE * np.ptp(np.concatenate(lines), axis=0).max()
    chosen: list[Peak] = []
    for peak in _local_peaks(solution, lines, regions):
        if len(chosen) < MAX_RIVALS and all(np.hypot(peak.r - c.r, peak.z - c.z) > apart for c in chosen):
            chosen.append(peak)
    return chosen


def _candidate_points(section: CrossSection | AxialStrip, solution: NodalField, region: str) -> tuple[list[np.ndarray], tuple[int, ...]]:
    """Lines of candidate points of a region, and the regions of the mesh to look them up in."""
    if not isinstance(section, AxialStrip) and (region in section.bores or region.startswith("bore")):
        bore = section.bore(region)
        refuse_line_currents(section, region)
        refuse_magnetic_edges(section, region)
        return bore_lines(solution.mesh, bore) + _surface_lines(solution.mesh, bore), (AIR,)
    if not section.part(region).zones:
        raise InputError(f"the field at {region}, a line current without section, has no largest value: read B at points")
    regions = tuple(k + 1 for k, (name, _) in enumerate(solution.mesh.regions) if name == region)
    return [point[None] for point in _strongest_nodes(solution, solution.mesh.part_triangles(region))], regions


def refuse_line_currents(section: CrossSection, region: str) -> None:
    """InputError where a filament or a sheet lies in or on the region."""
    bore = section.bore(region)
    for part in section.parts:
        r_min, _, z_min, z_max = part.bounds
        if not part.zones and r_min <= bore.radius * (1 + 1e-9) and z_max >= bore.z_min and z_min <= bore.z_max:
            raise InputError(f"the field at {part.name}, a line current without section, has no largest value: "
                             "read B at points, or give the coil a wire")


def refuse_magnetic_edges(section: CrossSection, region: str) -> None:
    """InputError where magnetic metal has an edge in the region, at which B grows without bound."""
    bore = section.bore(region)
    for part in section.parts:
        r, z = magnetic_edges(part).T
        if ((r <= bore.radius * (1 + 1e-9)) & (z >= bore.z_min) & (z <= bore.z_max)).any():
            raise InputError(f"the field at the edges of {part.name}, which is magnetic, has no largest value in {region}: "
                             "read B at points, such as the centre or half-way between rim and coil")


def is_bounded(section: CrossSection, region: str) -> bool:
    """Whether |B| has a largest value in a bore."""
    try:
        refuse_line_currents(section, region)
        refuse_magnetic_edges(section, region)
    except InputError:
        return False
    return True


def magnetic_edges(part: Part) -> np.ndarray:
    """Corners (n, 2) of the part's magnetic metal, at which B grows without bound."""
    corners = [zone.outline.corners for zone in part.zones if zone.material is not None and zone.material.is_magnetic]
    return np.concatenate([*corners, np.zeros((0, 2))])


def bore_lines(mesh: Mesh, bore: Bore) -> list[np.ndarray]:
    """Points (q, 2) along the bore's cylinder and its two ends."""
    metal = mesh.nodes[surface_nodes(mesh.topology)]
    innermost = metal[np.abs(metal[:, 0] - bore.radius) < 1e-9 * bore.radius, 1]             # of the wires
    return list(_bore_lines(bore, tuple(innermost[(innermost >= bore.z_min) & (innermost <= bore.z_max)].tolist())))


@lru_cache(maxsize=8)
def _bore_lines(bore: Bore, innermost: tuple[float, ...]) -> tuple[np.ndarray, ...]:
    """The same, with nodes at some heights on the cylinder: while the turns stay, so do these lines."""
    z, r = np.linspace(bore.z_min, bore.z_max, SAMPLES), np.linspace(0, bore.radius, SAMPLES // 2)
    z = _merged(z, np.array(innermost))
    ends = [np.column_stack([r, np.full_like(r, end)]) for end in (bore.z_min, bore.z_max)]
    return np.column_stack([np.full_like(z, bore.radius), z]), *ends


def _surface_lines(mesh: Mesh, bore: Bore) -> list[np.ndarray]:
    """Nodes (3, 2) along each edge of the surfaces of metal inside a bore; of an edge that ends outside what lies inside, to the end."""
    inside = np.zeros(mesh.size, dtype=bool)
    inside[surface_nodes_inside(mesh, bore)] = True
    edges = surface_edges(mesh.topology)
    whole = inside[edges].all(axis=1)
    cut = edges[~whole & inside[edges].any(axis=1)]
    return [*mesh.nodes[edges[whole]], *(_between_ends(mesh.nodes[edge], inside[edge], bore) for edge in cut)]


def _between_ends(line: np.ndarray, inside: np.ndarray, bore: Bore) -> np.ndarray:
    """Points of a line (q, 2) that are inside a bore, and those where it crosses the bore's ends, in their order along it."""
    place, z = np.arange(len(line), dtype=float), line[:, 1]
    crossings = [k + (end - z[k]) / (z[k + 1] - z[k])
                 for end in (bore.z_min, bore.z_max) for k in range(len(line) - 1) if (z[k] - end) * (z[k + 1] - end) < 0]
    chosen = np.sort([*place[inside], *crossings])
    return np.column_stack([np.interp(chosen, place, along) for along in line.T])


def _merged(samples: np.ndarray, nodes: np.ndarray) -> np.ndarray:
    """Nodes, and of evenly spaced samples those that are at least half their distance away from every node; rising."""
    if not len(nodes):
        return samples
    away = np.abs(samples[:, None] - nodes).min(axis=1) >= 0.5 * (samples[1] - samples[0])
    return np.unique(np.concatenate([samples[away], nodes]))


def surface_nodes_inside(mesh: Mesh, bore: Bore) -> np.ndarray:
    """Numbers of the nodes on the surfaces of metal inside a bore, rising."""
    surface = surface_nodes(mesh.topology)
    r, z = mesh.nodes[surface].T
    return surface[(r < bore.radius * (1 - 1e-9)) & (z >= bore.z_min) & (z <= bore.z_max)]


@lru_cache(maxsize=2)
def surface_nodes(topology: Topology) -> np.ndarray:
    """Numbers of the nodes between air and metal, rising."""
    mesh = topology.mesh
    return np.intersect1d(mesh.triangles[mesh.region == AIR], mesh.triangles[mesh.region > AIR])


@lru_cache(maxsize=2)
def surface_edges(topology: Topology) -> np.ndarray:
    """Nodes one after the other along the edges between air and metal; shape (e, 3)."""
    mesh = topology.mesh
    on_surface = np.zeros(mesh.size, dtype=bool)
    on_surface[surface_nodes(topology)] = True
    edges = mesh.triangles[mesh.region == AIR][:, EDGE_NODES[:, [0, 2, 1]]].reshape(-1, 3)
    return edges[on_surface[edges].all(axis=1)]


def _strongest_nodes(solution: NodalField, triangles: np.ndarray, count: int = 40) -> np.ndarray:
    points = sample(solution.mesh, triangles, np.eye(3))
    B_r, B_z = points.flux_density(solution.u)
    magnitude = field_magnitude(B_r, B_z + solution.applied_field).ravel()
    strongest = np.argsort(magnitude)[-count:]
    return np.column_stack([points.r.ravel(), points.z.ravel()])[strongest]


def _local_peaks(solution: NodalField, lines: list[np.ndarray], regions: tuple[int, ...]) -> list[Peak]:
    """The local maxima along the lines that come near the largest, each narrowed down between its neighbours; largest first."""
    magnitude = np.split(_magnitude(solution, np.concatenate(lines), regions)[0], np.cumsum([len(line) for line in lines])[:-1])
    threshold = NEAR_MAXIMUM * max(values.max() for values in magnitude)
    spans = [(line[max(k - 1, 0)], line[k], line[min(k + 1, len(line) - 1)])
             for line, values in zip(lines, magnitude, strict=True) for k in _local_maxima(values) if values[k] >= threshold]
    spans, triangles = np.array(spans), None                                # (peaks, 3, 2): before, at and after
    for _ in range(ZOOMS):
        spans, best, triangles = _narrowed(solution, spans, regions, triangles)
    peaks = [Peak(float(value), *map(float, span[1])) for value, span in zip(best, spans, strict=True)]
    return sorted(peaks, key=lambda peak: -peak.value)


def field_magnitude(B_r: np.ndarray, B_z: np.ndarray) -> np.ndarray:
    """|B|, of phasors (peak values) the largest over the cycle: 2 |B|^2 = |B_r|^2 + |B_z|^2 + |B_r^2 + B_z^2|."""
    return np.sqrt(0.5 * (np.abs(B_r) ** 2 + np.abs(B_z) ** 2 + np.abs(B_r**2 + B_z**2)))


def _local_maxima(magnitude: np.ndarray) -> np.ndarray:
    padded = np.concatenate([[-np.inf], magnitude, [-np.inf]])
    return np.flatnonzero((magnitude >= padded[:-2]) & (magnitude >= padded[2:]) & np.isfinite(magnitude))


def _narrowed(solution: NodalField, spans: np.ndarray, regions: tuple[int, ...],
              triangles: np.ndarray | None) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Each span shrunk about its largest of nine points, the largest values, and the triangles of all points, `triangles` tried first."""
    before, at, after = spans[:, :1], spans[:, 1:2], spans[:, 2:]
    share = np.linspace(0, 1, 5)[:, None]
    points = np.concatenate([before + share[:-1] * (at - before), at + share * (after - at)], axis=1)
    magnitude, triangles = _magnitude(solution, points.reshape(-1, 2), regions, triangles)
    magnitude = magnitude.reshape(points.shape[:2])
    best, rows = magnitude.argmax(axis=1), np.arange(len(points))
    around = np.stack([np.maximum(best - 1, 0), best, np.minimum(best + 1, points.shape[1] - 1)], axis=1)
    return points[rows[:, None], around], magnitude[rows, best], triangles


def _magnitude(solution: NodalField, places: np.ndarray, regions: tuple[int, ...],
               first: np.ndarray | None = None) -> tuple[np.ndarray, np.ndarray]:
    """|B| at places (q, 2), minus infinity outside the regions, and the triangles they are in; `first` as for `locate`."""
    triangle, place = locate(solution.mesh, *places.T, regions, first=first)
    inside = triangle >= 0
    magnitude = np.full(len(places), -np.inf)
    magnitude[inside] = field_magnitude(*solution.flux_density_in(triangle[inside], place[inside], *places[inside].T))
    return magnitude, triangle
