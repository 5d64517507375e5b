"""The mesh of a cross-section."""
from __future__ import annotations

import math

import numpy as np

from geometries import mapped, sizing
from geometries.cross_section import AxialStrip, CrossSection, Section
from geometries.curved_edges import has_curved_edge, node_jacobians, preserve_areas
from geometries.drawing import Drawing, arcs
from geometries.errors import GeometryError, MeshError
from geometries.gmsh_session import failures_as_mesh_errors, gmsh_session
from geometries.grids import grid_cells, set_grid_cells
from geometries.mesh import AIR, EDGE_NODES, EXTERIOR, Mesh
from geometries.mesh_order import raised_mesh
from geometries.node_numbers import renumber_nodes
from geometries.parts import ZoneKey
from geometries.size_fields import set_sizes

OPEN_RADIUS = 1.6                # radius of the meshed air over the extent of the parts
ATTEMPTS = 3                     # each with smaller cells, where a curved edge turns a cell inside out
EDGE, TRIANGLE = 8, 9            # gmsh's numbers for elements of second order


def mesh_section(section: Section, sizes: sizing.CellSizes | None = None, *, scale: float = 1.0,
                 part_sizes: dict[str, float] | None = None, open_radius: float | None = None, order: int = 2) -> Mesh:
    """Mesh of a cross-section (every zone, the air between, the mapped open space) or of an axial strip.

    sizes        cell sizes requested by a solved mesh; never above the first guess
    scale        factor on the first guess
    part_sizes   largest cell at the surface of a part, metres (skin depth), by name; in thin zones the largest across
    open_radius  radius of the meshed air in metres, default 1.6 times the extent of the parts
    order        of the triangles, 2 to 4
    Raises MeshError where gmsh cannot be loaded or gives up, GeometryError where the open radius is too small.
    """
    radius = None if isinstance(section, AxialStrip) else _open_radius(section, open_radius)
    with gmsh_session() as gmsh:
        drawing, thin = mapped.draw_thin_zones(gmsh, section, radius, sizing.thin_zones(section))
        for attempt in range(ATTEMPTS):
            finer = scale * 0.6**attempt
            rows = sizing.zone_rows(section, part_sizes or {}, finer, sizes)
            mapped.set_rows(drawing, thin, rows)
            grids = [grid_cells(part, (part_sizes or {}).get(part.name, math.inf), finer, sizes) for part in section.parts if part.grid]
            for cells in grids:
                set_grid_cells(drawing, cells)
            set_sizes(drawing, sizes, finer, part_sizes or {}, thin, rows, grids)
            if attempt == 0:
                with failures_as_mesh_errors():
                    mapped.link_long_sides(drawing, thin.values())
            mesh = _generate(drawing, {zone.core: (key, rows[key].count) for key, zone in thin.items()})
            if (mesh.area > 0).all() and (node_jacobians(mesh.nodes[mesh.triangles[mesh.curved]]) > 0).all():
                return mesh if order == 2 else raised_mesh(mesh, order, arcs(section, radius))
    raise MeshError("the mesher makes cells that are turned inside out at a curved edge; look for parts that nearly touch")


def _generate(drawing: Drawing, cores: dict[int, tuple[ZoneKey, int]]) -> Mesh:
    mesh = drawing.gmsh.model.mesh
    with failures_as_mesh_errors():
        mesh.clear()
        mesh.generate(2)
        mesh.setOrder(2)
    return _read(drawing, cores)


def _open_radius(section: CrossSection, requested: float | None) -> float:
    radius = OPEN_RADIUS * section.extent if requested is None else float(requested)
    if not radius > 1.05 * section.extent:
        raise GeometryError(f"open_radius = {radius:g} m: the parts reach {section.extent:g} m from the centre; "
                            f"give at least {1.1 * section.extent:.3g} m")
    return radius


# ---- reading --------------------------------------------------------------------------------------------------------

def _read(drawing: Drawing, cores: dict[int, tuple[ZoneKey, int]]) -> Mesh:
    """Arrays of the mesh that gmsh holds; `cores` are the surfaces of mapped cells, with their zone and number of rows."""
    model = drawing.gmsh.model
    tags, coordinates, _ = model.mesh.getNodes()
    number = np.zeros(int(tags.max()) + 1, dtype=np.int64)
    number[tags] = np.arange(len(tags))
    nodes = coordinates.reshape(-1, 3)[:, :2].astype(float)      # of native order, as other packages want it

    surfaces = [(AIR, tag) for tag in drawing.air] + [(EXTERIOR, tag) for tag in drawing.exterior]
    surfaces += [(k + 1, tag) for k, zone in enumerate(drawing.zone_surfaces.values()) for tag in zone]
    blocks = [(region, number[model.mesh.getElementsByType(TRIANGLE, tag)[1]].reshape(-1, 6)) for region, tag in surfaces]
    nodes, renumbered = renumber_nodes(nodes, np.concatenate([block for _, block in blocks]))
    blocks = [(region, renumbered[block[np.argsort(renumbered[block].min(axis=1), kind="stable")]]) for region, block in blocks]
    triangles = _counter_clockwise(nodes, np.concatenate([block for _, block in blocks]))
    region = np.concatenate([np.full(len(block), region) for region, block in blocks])
    numbers = np.split(np.arange(len(triangles)), np.cumsum([len(block) for _, block in blocks])[:-1])

    def edges(curves: list[int]) -> np.ndarray:
        found = [number[model.mesh.getElementsByType(EDGE, tag)[1]].reshape(-1, 3) for tag in curves]
        return np.concatenate([np.zeros((0, 3), dtype=np.int64), *found])

    thin = {cores[tag][0]: members[mapped.sort_into_columns(nodes[triangles[members, :3]], cores[tag][1])]
            for (_, tag), members in zip(surfaces, numbers, strict=True) if tag in cores}
    curved = has_curved_edge(nodes, triangles)
    nodes = preserve_areas(nodes, triangles[curved], arcs(drawing.section, drawing.radius))
    filament = {name: int(renumbered[number[model.mesh.getNodes(0, tag)[0][0]]]) for name, tag in drawing.filaments.items()}
    sheets = {name: renumbered[edges(curves)] for name, curves in drawing.sheets.items()}
    faces = _faces(drawing.section, nodes, triangles) if drawing.radius is None else {}
    return Mesh(nodes=nodes, triangles=triangles, region=region, regions=tuple(drawing.zone_surfaces), curved=curved,
                open_radius=drawing.radius, centre=drawing.section.centre, arc_edges=renumbered[edges(drawing.arc)],
                face_edges=faces, sheet_edges=sheets, filament_node=filament, mapped=thin)


def _counter_clockwise(nodes: np.ndarray, triangles: np.ndarray) -> np.ndarray:
    a, b, c = (nodes[triangles[:, k]] for k in range(3))
    clockwise = (b - a)[:, 0] * (c - a)[:, 1] < (b - a)[:, 1] * (c - a)[:, 0]
    triangles[clockwise] = triangles[clockwise][:, [0, 2, 1, 5, 4, 3]]
    return triangles


def _faces(strip: AxialStrip, nodes: np.ndarray, triangles: np.ndarray) -> dict[str, np.ndarray]:
    """Edges on the inner and outer face of a strip."""
    edges = triangles[:, EDGE_NODES].reshape(-1, 3)
    radius = nodes[edges][:, :, 0]
    faces = {"inner": strip.inner_radius, "outer": strip.outer_radius}
    return {face: edges[np.all(np.abs(radius - at) < 1e-9 * strip.outer_radius, axis=1)] for face, at in faces.items()}
