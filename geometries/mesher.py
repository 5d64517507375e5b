"""From a cross-section to a mesh: the only user of gmsh."""
from __future__ import annotations

import contextlib
import importlib
import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np

from geometries import sizing
from geometries.cross_section import AxialStrip, CrossSection
from geometries.curved_edges import area_true
from geometries.errors import GeometryError, MeshError
from geometries.mesh import AIR, OUTER, Mesh
from geometries.outlines import Arc, Line, Outline, rectangle

SYSTEM_LIBRARIES = "libglu1-mesa libgl1 libxcursor1 libxft2 libxinerama1 libgomp1"
OPEN_RADIUS = 1.6                # radius of the meshed air over the extent of the parts
ATTEMPTS = 3                     # each with smaller cells, where a curved edge turns a cell inside out
EDGE, TRIANGLE = 8, 9            # gmsh's numbers for elements of second order
OPTIONS = {"General.Terminal": 0, "General.NumThreads": 1, "Mesh.Algorithm": 6, "Mesh.LcIntegrationPrecision": 1e-3,
           "Mesh.MeshSizeFromPoints": 0, "Mesh.MeshSizeExtendFromBoundary": 0}
Section = CrossSection | AxialStrip


def mesh_section(section: Section, sizes: sizing.CellSizes | None = None, *, scale: float = 1.0,
                 part_sizes: dict[str, float] | None = None, open_radius: float | None = None) -> Mesh:
    """Mesh of a cross-section (every zone, the air between, the mapped open space) or of an axial strip.

    sizes        cell sizes asked for by a solved mesh; never above the first guess
    scale        factor on the first guess
    part_sizes   largest cell at the surface of a part, metres (skin depth), by name
    open_radius  radius of the meshed air in metres, default 1.6 times the extent of the parts
    Raises MeshError where gmsh cannot be loaded or gives up, GeometryError where the open radius is too small.
    """
    radius = None if isinstance(section, AxialStrip) else _open_radius(section, open_radius)
    with _gmsh_session() as gmsh:
        drawing = _draw(gmsh, section, radius)
        for attempt in range(ATTEMPTS):
            _set_sizes(drawing, sizes, scale * 0.6**attempt, part_sizes or {})
            mesh = _generate(drawing)
            if (mesh.area > 0).all() and (_node_jacobians(mesh) > 0).all():
                return mesh
    raise MeshError("the mesher makes cells that are turned inside out at a curved edge; look for parts that nearly touch")


def _generate(drawing: _Drawing) -> Mesh:
    model = drawing.gmsh.model
    try:
        model.mesh.clear()
        model.mesh.generate(2)
        model.mesh.setOrder(2)
    except Exception as failure:
        raise MeshError(f"the mesher gave up ({failure}); look for parts that nearly touch") from failure
    return _read(drawing)


def _open_radius(section: CrossSection, asked: float | None) -> float:
    radius = OPEN_RADIUS * section.extent if asked is None else float(asked)
    if not radius > 1.05 * section.extent:
        raise GeometryError(f"open_radius = {radius:g} m: the parts reach {section.extent:g} m from the centre; "
                            f"give at least {1.1 * section.extent:.3g} m")
    return radius


@contextlib.contextmanager
def _gmsh_session() -> Iterator[Any]:
    gmsh = load_gmsh()
    gmsh.initialize(interruptible=False, readConfigFiles=False)
    try:
        for option, value in OPTIONS.items():
            gmsh.option.setNumber(option, value)
        yield gmsh
    finally:
        gmsh.finalize()


def load_gmsh() -> Any:
    """The gmsh module; a missing system library becomes a MeshError that names the packages."""
    try:
        return importlib.import_module("gmsh")
    except OSError as missing:
        raise MeshError(f"gmsh cannot load a system library ({missing}); on Debian: apt-get install {SYSTEM_LIBRARIES}") from missing


# ---- drawing -----------------------------------------------------------------------------------------------------

@dataclass(frozen=True, eq=False)
class _Drawing:
    """The section in gmsh's geometry kernel: tags of what was drawn."""

    gmsh: Any
    section: Section
    radius: float | None
    zones: list[tuple[Any, int]]          # (part, zone number)
    zone_surfaces: list[list[int]]
    air: list[int]
    outer: list[int]
    arc: list[int]
    sheets: dict[str, list[int]]
    filaments: dict[str, int]


def _draw(gmsh: Any, section: Section, radius: float | None) -> _Drawing:
    """Draw the frame, cut it by the zones, filaments and sheets, and lay the outer sheet on the arc."""
    pen = _Pen(gmsh.model.occ)
    zones = [(part, k) for part in section.parts for k in range(len(part.zones))]
    sheets = [part for part in section.parts if part.sheet]
    filaments = [part for part in section.parts if part.filament]
    frame = pen.surface(_frame(section, radius))
    tools = [(2, pen.surface(part.zones[k].outline)) for part, k in zones]
    tools += [(1, pen.edge(Line((p.sheet.radius, p.sheet.z_min), (p.sheet.radius, p.sheet.z_max)))) for p in sheets]
    tools += [(0, pen.point((p.filament.radius, p.filament.z))) for p in filaments]
    pieces = gmsh.model.occ.fragment([(2, frame)], tools)[1] if tools else [[(2, frame)]]
    gmsh.model.occ.synchronize()
    tags = iter([[tag for _, tag in piece] for piece in pieces])
    everything = next(tags)
    zone_surfaces = [next(tags) for _ in zones]
    metal = {tag for surfaces in zone_surfaces for tag in surfaces}
    air = [tag for tag in everything if tag not in metal]
    arc, outer = ([], []) if radius is None else _lay_outer_sheet(gmsh, section.centre, radius, air)
    return _Drawing(gmsh, section, radius, zones, zone_surfaces, air, outer, arc,
                    {part.name: next(tags) for part in sheets}, {part.name: next(tags)[0] for part in filaments})


def _frame(section: Section, radius: float | None) -> Outline:
    if radius is None:
        return rectangle(section.inner_radius, section.outer_radius, section.z_min, section.z_max)
    quarter = math.pi / 2
    arcs = [Arc((0.0, section.centre), (radius, radius), start, start + quarter) for start in (-quarter, 0.0)]
    return Outline((*arcs, Line(arcs[1].end, arcs[0].start)))


def _lay_outer_sheet(gmsh: Any, centre: float, radius: float, air: list[int]) -> tuple[list[int], list[int]]:
    """A second half disc on the same arc, its axis running through the image of infinity; returns arc and surface."""
    kernel, model = gmsh.model.occ, gmsh.model
    border = model.getBoundary([(2, tag) for tag in air], oriented=False)
    arc = [tag for _, tag in border if abs(math.hypot(*_middle(model, tag) - [0, centre]) - radius) < 1e-6 * radius]
    ends = {tag: model.getValue(0, tag, []) for _, tag in model.getBoundary([(1, tag) for tag in arc], combined=True, oriented=False)}
    bottom, top = sorted(ends, key=lambda tag: ends[tag][1])
    image = kernel.addPoint(0, centre, 0)
    axis = [kernel.addLine(top, image), kernel.addLine(image, bottom)]
    outer = kernel.addPlaneSurface([kernel.addCurveLoop(arc + axis)])
    kernel.synchronize()
    return arc, [outer]


def _middle(model: Any, curve: int) -> np.ndarray:
    low, high = model.getParametrizationBounds(1, curve)
    return model.getValue(1, curve, [0.5 * (low[0] + high[0])])[:2]


class _Pen:
    """Draws outlines in the kernel; equal points are drawn once."""

    def __init__(self, kernel: Any):
        self.kernel, self.drawn = kernel, {}

    def point(self, at: tuple[float, float]) -> int:
        key = (round(at[0], 12), round(at[1], 12))
        if key not in self.drawn:
            self.drawn[key] = self.kernel.addPoint(at[0], at[1], 0)
        return self.drawn[key]

    def edge(self, edge: Line | Arc) -> int:
        start, end = self.point(edge.start), self.point(edge.end)
        if isinstance(edge, Line):
            return self.kernel.addLine(start, end)
        (r, z), (a, b) = edge.centre, edge.semi_axes
        centre = self.kernel.addPoint(r, z, 0)
        if a == b:
            return self.kernel.addCircleArc(start, centre, end)
        major = self.kernel.addPoint(r + (a if a > b else 0), z + (b if b > a else 0), 0)
        return self.kernel.addEllipseArc(start, centre, major, end)

    def surface(self, outline: Outline) -> int:
        return self.kernel.addPlaneSurface([self.kernel.addCurveLoop([self.edge(edge) for edge in outline.edges])])


# ---- sizes -------------------------------------------------------------------------------------------------------

def _set_sizes(drawing: _Drawing, sizes: sizing.CellSizes | None, scale: float, part_sizes: dict[str, float]) -> None:
    """Background field: smallest of the first guess and, where a solved mesh asks, its sizes."""
    field = drawing.gmsh.model.mesh.field
    inner = drawing.air + [tag for surfaces in drawing.zone_surfaces for tag in surfaces]
    guesses = _guess_fields(drawing, scale, part_sizes)
    wanted = [_add(field, "Restrict", InField=_smallest(field, guesses + _asked(drawing, sizes, "inner")), SurfacesList=inner)]
    if drawing.outer:
        cell = scale * drawing.radius / sizing.OUTER_CELLS
        constant = _add(field, "MathEval", F=f"{cell:.17g}")
        smallest = _smallest(field, [constant, *_asked(drawing, sizes, "outer")])
        wanted += [_add(field, "Restrict", InField=smallest, SurfacesList=drawing.outer)]
    field.setAsBackgroundMesh(_smallest(field, wanted))


def _guess_fields(drawing: _Drawing, scale: float, part_sizes: dict[str, float]) -> list[int]:
    """One growing size field about the curves or points of each size."""
    model = drawing.gmsh.model
    groups: dict[float, tuple[list[int], list[int]]] = {}
    for (part, _), surfaces, size in zip(drawing.zones, drawing.zone_surfaces, sizing.zone_cell_sizes(drawing.section), strict=True):
        curves = [tag for _, tag in model.getBoundary([(2, tag) for tag in surfaces], oriented=False)]
        groups.setdefault(min(size, part_sizes.get(part.name, math.inf)), ([], []))[0].extend(curves)
    for part in drawing.section.parts:
        if part.sheet:
            groups.setdefault(sizing.sheet_cell_size(part.sheet), ([], []))[0].extend(drawing.sheets[part.name])
        if part.filament:
            groups.setdefault(sizing.filament_cell_size(drawing.section, part), ([], []))[1].append(drawing.filaments[part.name])
    return [_growing(drawing, scale * size, scale * sizing.GROWTH, curves, points) for size, (curves, points) in groups.items()]


def _growing(drawing: _Drawing, size: float, growth: float, curves: list[int], points: list[int]) -> int:
    field = drawing.gmsh.model.mesh.field
    longest = max((drawing.gmsh.model.occ.getMass(1, tag) for tag in curves), default=0.0)
    distance = _add(field, "Distance", CurvesList=curves, PointsList=points, Sampling=int(np.clip(longest / size, 4, 400)))
    largest = drawing.radius / 4 if drawing.radius else drawing.section.outer_radius / 4
    largest = max(largest, 1.001 * size)
    return _add(field, "Threshold", InField=distance, SizeMin=size, SizeMax=largest, DistMin=0.0, DistMax=(largest - size) / growth)


def _asked(drawing: _Drawing, sizes: sizing.CellSizes | None, sheet: str) -> list[int]:
    """Background field through the sizes a solved mesh asks for on one of the sheets, if any."""
    if sizes is None:
        return []
    corners, values = getattr(sizes, f"{sheet}_corners"), getattr(sizes, f"{sheet}_sizes")
    data = np.concatenate([corners[:, :, 0], corners[:, :, 1], np.zeros_like(values), values], axis=1)
    view = drawing.gmsh.view.add(sheet)
    drawing.gmsh.view.addListData(view, "ST", len(data), data.ravel())
    return [_add(drawing.gmsh.model.mesh.field, "PostView", ViewTag=view)]


def _smallest(field: Any, tags: list[int]) -> int:
    return tags[0] if len(tags) == 1 else _add(field, "Min", FieldsList=tags)


def _add(field: Any, kind: str, **options: Any) -> int:
    tag = field.add(kind)
    for name, value in options.items():
        if isinstance(value, list):
            field.setNumbers(tag, name, value)
        elif isinstance(value, str):
            field.setString(tag, name, value)
        else:
            field.setNumber(tag, name, value)
    return tag


# ---- reading -----------------------------------------------------------------------------------------------------

def _read(drawing: _Drawing) -> Mesh:
    """Arrays of the mesh that gmsh holds."""
    model = drawing.gmsh.model
    tags, coordinates, _ = model.mesh.getNodes()
    number = np.zeros(int(tags.max()) + 1, dtype=np.int64)
    number[tags] = np.arange(len(tags))
    nodes = coordinates.reshape(-1, 3)[:, :2]

    surfaces = [(AIR, tag) for tag in drawing.air] + [(OUTER, tag) for tag in drawing.outer]
    surfaces += [(k + 1, tag) for k, zone in enumerate(drawing.zone_surfaces) for tag in zone]
    blocks = [(region, number[model.mesh.getElementsByType(TRIANGLE, tag)[1]].reshape(-1, 6)) for region, tag in surfaces]
    triangles = _counter_clockwise(nodes, np.concatenate([block for _, block in blocks]))
    region = np.concatenate([np.full(len(block), region) for region, block in blocks])

    def edges(curves: list[int]) -> np.ndarray:
        found = [number[model.mesh.getElementsByType(EDGE, tag)[1]].reshape(-1, 3) for tag in curves]
        return np.concatenate([np.zeros((0, 3), dtype=np.int64), *found])

    nodes, triangles, renumbered = _used_only(nodes, triangles)
    curved = _curved(nodes, triangles)
    nodes = area_true(nodes, triangles[curved], _arcs(drawing))
    filament = {name: int(renumbered[number[model.mesh.getNodes(0, tag)[0][0]]]) for name, tag in drawing.filaments.items()}
    sheets = {name: renumbered[edges(curves)] for name, curves in drawing.sheets.items()}
    return Mesh(nodes, triangles, region, tuple((part.name, k) for part, k in drawing.zones), curved,
                drawing.radius, drawing.section.centre, renumbered[edges(drawing.arc)],
                _faces(drawing.section, nodes, triangles) if drawing.radius is None else {}, sheets, filament)


def _arcs(drawing: _Drawing) -> list[Arc]:
    """Every arc that was drawn: of the zones and of the open air."""
    outlines = [part.zones[k].outline for part, k in drawing.zones] + [_frame(drawing.section, drawing.radius)]
    return [edge for outline in outlines for edge in outline.edges if isinstance(edge, Arc)]


def _counter_clockwise(nodes: np.ndarray, triangles: np.ndarray) -> np.ndarray:
    a, b, c = (nodes[triangles[:, k]] for k in range(3))
    clockwise = (b - a)[:, 0] * (c - a)[:, 1] < (b - a)[:, 1] * (c - a)[:, 0]
    triangles[clockwise] = triangles[clockwise][:, [0, 2, 1, 5, 4, 3]]
    return triangles


def _used_only(nodes: np.ndarray, triangles: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Drop the nodes of drawing points that are in no triangle; also the new number of each old node."""
    used = np.zeros(len(nodes), dtype=bool)
    used[triangles] = True
    renumbered = np.cumsum(used) - 1
    return nodes[used], renumbered[triangles], renumbered


def _curved(nodes: np.ndarray, triangles: np.ndarray) -> np.ndarray:
    """Triangles with an edge whose middle node is off the chord by more than rounding."""
    corners, middles = nodes[triangles[:, :3]], nodes[triangles[:, 3:]]
    chord_middles = 0.5 * (corners[:, [0, 1, 0]] + corners[:, [1, 2, 2]])
    size = np.abs(corners[:, 1] - corners[:, 0]).max(axis=1)
    return np.abs(middles - chord_middles).max(axis=(1, 2)) > 1e-9 * size


def _faces(strip: AxialStrip, nodes: np.ndarray, triangles: np.ndarray) -> dict[str, np.ndarray]:
    """Edges on the inner and outer face of a strip."""
    edges = triangles[:, [[0, 1, 3], [1, 2, 4], [0, 2, 5]]].reshape(-1, 3)
    radius = nodes[edges][:, :, 0]
    faces = {"inner": strip.inner_radius, "outer": strip.outer_radius}
    return {face: edges[np.all(np.abs(radius - at) < 1e-9 * strip.outer_radius, axis=1)] for face, at in faces.items()}


def _node_jacobians(mesh: Mesh) -> np.ndarray:
    """Jacobian determinant of each curved triangle at its six nodes; all positive in a usable mesh."""
    x = mesh.nodes[mesh.triangles[mesh.curved]]
    corners = np.array([[0, 0], [1, 0], [0, 1], [0.5, 0], [0.5, 0.5], [0, 0.5]])
    determinants = []
    for s, t in corners:
        ds = np.array([4 * s + 4 * t - 3, 4 * s - 1, 0, 4 - 8 * s - 4 * t, 4 * t, -4 * t])
        dt = np.array([4 * s + 4 * t - 3, 0, 4 * t - 1, -4 * s, 4 * s, 4 - 4 * s - 8 * t])
        (a, b), (c, d) = (ds @ x).T, (dt @ x).T
        determinants.append(a * d - b * c)
    return np.array(determinants)
