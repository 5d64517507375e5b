"""Cells in a part with a grid: each edge between its lines is cut into as many cells as the rectangles beside it require.

A rectangle whose opposite edges have as many cells is meshed in mapped ones, two triangles each; in others the mesher is free.
"""
from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from geometries.drawing import Drawing
from geometries.errors import MeshError
from geometries.parts import Part
from geometries.sizing import CellSizes


@dataclass(frozen=True, eq=False)
class GridCells:
    """How many cells each edge of a part's grid has: edges along r (columns, lines z), edges along z (lines r, rows)."""

    part: Part
    along_r: np.ndarray
    along_z: np.ndarray

    def on(self, start: np.ndarray, end: np.ndarray) -> int:
        """Cells on the edge that lies between two points of the grid."""
        axis = int(np.abs(end - start).argmax())
        lines, middle = [np.asarray(lines) for lines in self.part.grid], 0.5 * (start + end)
        between = np.searchsorted(lines[axis], middle[axis]) - 1
        line = np.abs(lines[1 - axis] - middle[1 - axis]).argmin()
        return int(self.along_r[between, line] if axis == 0 else self.along_z[line, between])


def grid_cells(part: Part, surface: float, scale: float, sizes: CellSizes | None) -> GridCells:
    """Cells on the edges of a part's grid: of the two rectangles beside an edge, the one with more cells decides.

    surface   largest cell at the part's surface in metres
    scale     factor on the size of all cells, where there is no solved mesh
    sizes     sizes that a solved mesh requests: a cell's extent along r and z shrinks as its size does
    """
    lines = [np.asarray(lines) for lines in part.grid]
    widths = np.stack(np.meshgrid(*map(np.diff, lines), indexing="ij"))                        # (2, columns, rows)
    border = np.ones(widths.shape[1:], dtype=bool)
    border[1:-1, 1:-1] = False                                                                 # a single row or column is all border
    if lines[0][0] == 0:
        border[0, 1:-1] = False                                                                # the axis is not a surface
    counts = np.where(border, np.ceil(widths / surface - 1e-9), 1.0)
    if sizes:
        counts = np.maximum(counts, np.round(_requested_cells(part, sizes, lines) * widths))
    counts = np.ceil(np.maximum(counts, 1) / min(scale, 1.0) - 1e-9).astype(int)
    if np.allclose(widths[1], widths[1, :, ::-1]):
        counts = np.maximum(counts, counts[:, :, ::-1])                                        # a symmetric section stays symmetric
    beside = [np.pad(counts[axis], [(0, 0), (1, 1)] if axis == 0 else [(1, 1), (0, 0)]) for axis in (0, 1)]
    return GridCells(part, np.maximum(beside[0][:, 1:], beside[0][:, :-1]), np.maximum(beside[1][1:], beside[1][:-1]))


def set_grid_cells(drawing: Drawing, cells: GridCells) -> None:
    """Have the edges of a grid cut into that many cells, and its rectangles mapped where they can be, diagonals mirrored in the mid-plane.

    Raises MeshError where something touches the part, whose cells would not meet those of the grid.
    """
    mesh, model, part = drawing.gmsh.model.mesh, drawing.gmsh.model, cells.part
    middle = 0.5 * (part.bounds[2] + part.bounds[3])
    edges: dict[int, tuple[np.ndarray, int]] = {}                                              # ends and cells of each curve
    for _, surface in _surfaces(drawing, part):
        curves = model.getAdjacencies(2, surface)[1].tolist()
        if len(curves) != 4:
            raise MeshError(f"{part.name} touches another part, and a body that flows must be free: leave a gap between them")
        for curve in curves:
            if curve not in edges:
                ends = _ends(drawing, curve)
                edges[curve] = ends, cells.on(*ends)
                mesh.setTransfiniteCurve(curve, edges[curve][1] + 1)
        upright, level = ([edges[curve][1] for curve in curves if np.ptp(edges[curve][0], axis=0).argmax() == axis] for axis in (1, 0))
        if upright[0] == upright[1] and level[0] == level[1]:
            height = np.mean([edges[curve][0][:, 1] for curve in curves])
            mesh.setTransfiniteSurface(surface, "Right" if height > middle else "Left")


def outline_cells(drawing: Drawing, cells: GridCells) -> dict[int, float]:
    """Length in metres of the cells along each curve of a part's outline, by tag."""
    curves = [tag for _, tag in drawing.gmsh.model.getBoundary(_surfaces(drawing, cells.part), combined=True, oriented=False)]
    ends = {curve: _ends(drawing, curve) for curve in curves}
    return {curve: float(np.ptp(pair, axis=0).max()) / cells.on(*pair) for curve, pair in ends.items()}


def _surfaces(drawing: Drawing, part: Part) -> list[tuple[int, int]]:
    return [(2, tag) for key, tags in drawing.zone_surfaces.items() if key[0] == part.name for tag in tags]


def _ends(drawing: Drawing, curve: int) -> np.ndarray:
    model = drawing.gmsh.model
    return np.array([model.getValue(0, point, [])[:2] for point in model.getAdjacencies(1, curve)[1]])


def _requested_cells(part: Part, sizes: CellSizes, lines: list[np.ndarray]) -> np.ndarray:
    """Cells per metre along r and z (2, columns, rows) that a solved mesh requests, the mean over each rectangle; 0 where it has none."""
    corners, middle = sizes.interior_corners, sizes.interior_corners.mean(axis=1)
    low_r, high_r, low_z, high_z = part.bounds
    inside = (low_r < middle[:, 0]) & (middle[:, 0] < high_r) & (low_z < middle[:, 1]) & (middle[:, 1] < high_z)
    corners, middle, wanted = corners[inside], middle[inside], sizes.interior_sizes[inside].mean(axis=1)
    (x, y), (s, t) = (corners[:, 1] - corners[:, 0]).T, (corners[:, 2] - corners[:, 0]).T
    area = 0.5 * np.abs(x * t - y * s)
    shrunk = wanted / np.sqrt(4 / math.sqrt(3) * area)
    shape = tuple(len(axis) - 1 for axis in lines)
    place = np.ravel_multi_index(tuple(np.searchsorted(axis, middle[:, k]) - 1 for k, axis in enumerate(lines)), shape)
    total = np.maximum(np.bincount(place, area, math.prod(shape)), np.finfo(float).tiny)
    density = [np.bincount(place, area / (shrunk * np.ptp(corners[:, :, k], axis=1)), math.prod(shape)) for k in (0, 1)]
    return np.reshape(density / total, (2, *shape))
