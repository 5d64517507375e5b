"""Conservative transfer of heat between the field's triangles and the motion's cells over the same metal."""
from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from fieldsolve.errors import InputError
from fieldsolve.motion.plastic_flow.quad_mesh import QuadMesh

MAX_UNCOVERED_SHARE = 1e-6             # share of a triangle that may lie outside the cells, for rounding


@dataclass(frozen=True, eq=False)
class ConservativeTransfer:
    """Intersections of triangles and cells of the metal at rest; they stay the same pieces of metal wherever it flows.

    Triangle and cell of a piece have one density, so a share of the volume is a share of the mass.

    triangle, cell    (pieces,) indices of the two
    volume            (pieces,) m^3
    triangles, cells  numbers of triangles and of cells
    """

    triangle: np.ndarray
    cell: np.ndarray
    volume: np.ndarray
    triangles: int
    cells: int

    def to_cells(self, energy: np.ndarray) -> np.ndarray:
        """Joule or watt (cells,) of each cell from those of the triangles (triangles,), by volume; the sum stays."""
        return self._transfer(energy, self.triangle, self.triangles, self.cell, self.cells)

    def to_triangles(self, energy: np.ndarray) -> np.ndarray:
        """Joule or watt (triangles,) of each triangle from those of the cells (cells,), by volume; the sum stays."""
        return self._transfer(energy, self.cell, self.cells, self.triangle, self.triangles)

    def mean_in_triangles(self, values: np.ndarray) -> np.ndarray:
        """Mean (triangles,) over each triangle's volume of a quantity of the cells (cells,), such as a strain."""
        return (np.bincount(self.triangle, self.volume * values[self.cell], self.triangles)
                / np.bincount(self.triangle, self.volume, self.triangles))

    def mean_in_cells(self, values: np.ndarray) -> np.ndarray:
        """Mean (cells,) over each cell's volume of a quantity of the triangles (triangles,), such as J/m^3."""
        return np.bincount(self.cell, self.volume * values[self.triangle], self.cells) / np.bincount(self.cell, self.volume, self.cells)

    def _transfer(self, energy: np.ndarray, source: np.ndarray, sources: int, target: np.ndarray, targets: int) -> np.ndarray:
        density = energy / np.maximum(np.bincount(source, self.volume, sources), np.finfo(float).tiny)
        return np.bincount(target, self.volume * density[source], targets)


def build_transfer(mesh: QuadMesh, corners: np.ndarray) -> ConservativeTransfer:
    """Intersections of the triangles (triangles, 3, 2), r and z in m, of the bodies at rest with the cells of the same bodies.

    Raises InputError for a triangle that is not covered by cells.
    """
    triangles, cells = shapely.polygons(corners), shapely.polygons(mesh.nodes[mesh.quads])
    cell, triangle = shapely.STRtree(triangles).query(cells, predicate="intersects")
    piece = shapely.intersection(triangles[triangle], cells[cell])
    volume = 2 * np.pi * shapely.area(piece) * np.maximum(shapely.get_x(shapely.centroid(piece)), 0.0)
    triangle_volume = 2 * np.pi * shapely.area(triangles) * corners[:, :, 0].mean(axis=1)
    covered = np.bincount(triangle, volume, len(triangles)) / triangle_volume
    if not covered.min(initial=1.0) > 1 - MAX_UNCOVERED_SHARE:
        r, z = corners[covered.argmin()].mean(axis=0)
        raise InputError(f"the triangle about r = {r * 1e3:g} mm, z = {z * 1e3:g} mm is not covered by the cells of the bodies: "
                         "only triangles of metal that flows share their heat with cells")
    shared = volume > MAX_UNCOVERED_SHARE * triangle_volume[triangle] * 1e-3
    return ConservativeTransfer(triangle[shared], cell[shared], volume[shared], len(triangles), len(cells))
