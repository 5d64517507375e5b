"""Where a mesh must be finer so that the goals reach their accuracy: dual-weighted error indicators.

The error of a goal is at most the sum over triangles of |e_u| |e_z|: the local error of the field times that of the goal's dual field
(the field that the goal, taken as a load, would cause).  Both are estimated from the jumps of the slopes between triangles, and from the
residual of the differential equation inside them.  In elements of even degree the residual is the larger part where the triangles are
regular (I. Babuska and D. Yu, Finite Elements in Analysis and Design 3 (1987) 341; from memory).  In orders above 2 both follow from
the decay of the coefficients (`coefficient_decay.py`).
W. Bangerth and R. Rannacher, Adaptive Finite Element Methods for Differential Equations (2003), chapter 3.
"""
from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.sparse import csr_array

from fieldsolve.field.adaptivity.anisotropic_indicators import height_fraction, refined_mapped_cells, row_heights
from fieldsolve.field.adaptivity.coefficient_decay import errors_by_decay
from fieldsolve.field.fem.quadrature import sample
from fieldsolve.field.fem.reference_triangle import shape_gradients
from geometries.mesh import EXTERIOR, Mesh
from geometries.parts import ZoneKey
from geometries.rows import Rows, graded_rows
from geometries.sizing import CellSizes

SMALLEST_STEP = 0.12    # no cell shrinks by more from one mesh to the next
ENERGY_EFFECTIVITY = 1.5    # error over dual estimate of an energy, at most: the pair is one field twice, so nothing cancels
HEAT_EFFECTIVITY = {2: 0.8, 3: 0.3, 4: 0.27}    # by order the same of a sum over metal, such as heat: see `benchmarks errors`
SMALLEST_STEP_AT_CORNER = 0.02      # the same of triangles that touch a corner, towards which the cells are graded in higher orders
LEFT_BY_HALVING = 0.5   # share of the error that halved edges may leave; else the next mesh is made anew
GRADATION = 0.6         # cell sizes grow by at most this share of the distance


@dataclass(frozen=True, eq=False)
class Goal:
    """A goal functional: its value, the scale its accuracy refers to, and the pairs of fields whose errors make up its own.

    value              in the goal's unit, real or complex;  scale  in the same unit, positive
    pairs              (n,) fields: the one it is a functional of, and the dual field
    least_effectivity  least error bound over dual estimate: 0, or that of an energy, of heat in the order or of a peak
    family             goals of one family are one field at several places; they share their effectivity, for one of them may
                       stay the same between two meshes by chance
    effectivity        error bound over dual estimate where that is known beforehand, as for peaks; 0: it follows from how the goal changes
    """

    value: float
    scale: float
    pairs: list[tuple[np.ndarray, np.ndarray]]
    least_effectivity: float = 0.0
    family: str = ""
    effectivity: float = 0.0


def local_errors(mesh: Mesh, nu: np.ndarray, subdomain: np.ndarray, fields: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Error of each (complex) field (n, k) in each triangle, and whether it is resolved there; shape (m, k).

    In order 2 from jumps, and all fields count as resolved; in higher orders from the decay of the coefficients.
    """
    if mesh.order > 2:
        return errors_by_decay(mesh, nu, fields)
    errors = _errors_by_jumps(mesh, nu, subdomain, fields)
    return errors, np.ones(errors.shape, dtype=bool)


def _errors_by_jumps(mesh: Mesh, nu: np.ndarray, subdomain: np.ndarray, fields: np.ndarray) -> np.ndarray:
    """Error of each (complex) field (n, k) in each triangle; shape (m, k).

    Its square is the energy of the deviation of the slopes from their nodal mean, taken on one side of a border where slopes jump,
    plus that of the deviation of the triangle's Laplacian from its neighbours'.
    """
    if np.iscomplexobj(fields):
        return np.hypot(_errors_by_jumps(mesh, nu, subdomain, fields.real), _errors_by_jumps(mesh, nu, subdomain, fields.imag))
    slopes = _slopes_at_nodes(mesh, fields)                                                 # (m, 6, 2, k)
    weight = (nu * mesh.area / 6)[:, None] * mesh.nodes[mesh.triangles, 0] ** 3             # (m, 6)
    squares = ((slopes - _nodal_mean(mesh, subdomain, slopes)) ** 2).sum(axis=2)
    return np.sqrt(np.einsum("ma,mak->mk", weight, squares) + weight.sum(axis=1)[:, None] * _interior_errors(mesh, slopes[:, :3]))


def _interior_errors(mesh: Mesh, slopes: np.ndarray) -> np.ndarray:
    """Mean square of the slopes of the error lambda_1 lambda_2 lambda_3 in each triangle, from the slopes at its corners; shape (m, k).

    Where triangles stand in even rows the slopes of this error agree on both sides of every edge, so that no jump shows it.  Then
    u_rr + (3/r) u_r + u_zz, which is as smooth as the sources, alternates from triangle to triangle.  With b the product and D the
    deviation of that from its nodal mean, the error is c b with c = D (integral of b) / (integral of |grad b|^2)
    = 12 D A^2 / (sum of the squared edges).
    """
    edges = mesh.corners - np.roll(mesh.corners, 1, axis=1)
    squared_edges = (edges**2).sum(axis=(1, 2))
    along = np.stack([slopes[:, 1] - slopes[:, 0], slopes[:, 2] - slopes[:, 0]])            # (2, m, 2, k)
    laplacian = np.einsum("ism,smik->mk", _inverse_map(mesh), along, optimize=True)
    laplacian += 3 * slopes[:, :, 0].mean(axis=1) / mesh.corners[:, :, 0].mean(axis=1)[:, None]
    laplacian = np.broadcast_to(laplacian[:, None], (len(laplacian), 3, laplacian.shape[1]))
    off = laplacian[:, 0] - _nodal_mean(mesh, mesh.region, laplacian).mean(axis=1)
    return (mesh.area**2 / (5 * squared_edges))[:, None] * off**2


def _nodal_mean(mesh: Mesh, subdomain: np.ndarray, values: np.ndarray) -> np.ndarray:
    """Mean at each node of what the triangles of a side have there; values (m, nodes, ...) at a triangle's first nodes, same shape."""
    count = values.shape[1]
    key = ((subdomain[:, None] - subdomain.min()) * mesh.size + mesh.triangles[:, :count]).ravel()
    key = np.unique(key, return_inverse=True)[1].ravel()
    gather = csr_array((np.ones(len(key)), key, np.arange(len(key) + 1)))                   # (m nodes, nodes on each side)
    mean = (gather.T @ values.reshape(len(key), -1)) / np.bincount(key)[:, None]
    return mean[key].reshape(values.shape)


def _slopes_at_nodes(mesh: Mesh, fields: np.ndarray) -> np.ndarray:
    """u_r and u_z of each field at the six nodes of each triangle; shape (m, 6, 2, k)."""
    local = fields[mesh.triangles]                                                          # (m, 6, k)
    along = np.tensordot(shape_gradients(_NODES), local, axes=(2, 1))                       # (6, 2, m, k)
    slopes = np.einsum("ism,qsmk->mqik", _inverse_map(mesh), along, optimize=True)
    curved = np.flatnonzero(mesh.curved)
    if len(curved):
        gradient = sample(mesh, curved, _NODES).gradient
        slopes[curved] = np.einsum("mqia,mak->mqik", gradient, local[curved], optimize=True)
    return slopes


def _inverse_map(mesh: Mesh) -> np.ndarray:
    """d s / d x_i of the place s in the straight triangle through the corners; shape (i, s, m)."""
    (a, c), (b, d) = (mesh.corners[:, 1] - mesh.corners[:, 0]).T, (mesh.corners[:, 2] - mesh.corners[:, 0]).T
    return np.array([[d, -c], [-b, a]]) / (a * d - b * c)


_NODES = np.array([[1, 0, 0], [0, 1, 0], [0, 0, 1], [0.5, 0.5, 0], [0, 0.5, 0.5], [0.5, 0, 0.5]], dtype=float)


@dataclass(frozen=True, eq=False)
class Indicators:
    """Where the errors of goals arise; each (m, goals).

    share      of each triangle in each goal's error, in the goal's unit
    by_height  how much of it is due to the height of mapped cells
    singular   whether the dual field alone is not resolved there, as at a point where a goal is read
    """

    share: np.ndarray
    by_height: np.ndarray
    singular: np.ndarray

    def largest(self, weights: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Share and part by height, weighted by goal, of the goal with the largest in each triangle, and whether that is singular; (m,)."""
        weighted = self.share * weights, self.by_height * weights, self.singular
        worst = weighted[0].argmax(axis=1)[:, None]
        return tuple(np.take_along_axis(of, worst, axis=1)[:, 0] for of in weighted)


def error_indicators(mesh: Mesh, nu: np.ndarray, subdomain: np.ndarray, goals: list[Goal]) -> Indicators:
    """Estimated share of each triangle in each goal's error."""
    columns: dict[int, int] = {}
    fields = []
    for goal in goals:
        for field in (field for pair in goal.pairs for field in pair):
            if id(field) not in columns:
                columns[id(field)] = len(fields)
                fields.append(field)
    pairs = [[(columns[id(u)], columns[id(z)]) for u, z in goal.pairs] for goal in goals]

    def products(errors: np.ndarray) -> np.ndarray:
        return np.stack([sum(errors[:, u] * errors[:, z] for u, z in of_goal) for of_goal in pairs], axis=1)
    stacked = np.stack(fields, axis=1)
    errors, resolved = local_errors(mesh, nu, subdomain, stacked)
    singular = np.stack([np.any([resolved[:, u] & ~resolved[:, z] for u, z in of_goal], axis=0) for of_goal in pairs], axis=1)
    return Indicators(products(errors), products(errors * np.sqrt(height_fraction(mesh, stacked))), singular)


def refined_sizes(mesh: Mesh, indicator: np.ndarray, height_indicator: np.ndarray, reduction: float,
                  rate: np.ndarray | None = None) -> tuple[CellSizes, float]:
    """Cell sizes that divide the sum of the indicator by `reduction` with the fewest triangles, and how many more those are.

    height_indicator  how much of the indicator is due to the height of mapped cells
    rate              (m,) power q of the size with which the indicator of a triangle falls; None: 2p in order p everywhere
    """
    step, height, rows = _refined_steps(mesh, indicator, height_indicator, reduction, rate)
    return _requested_sizes(mesh, step * mesh.cell_size, rows), float((1 / (step * height)).mean())


def halved_sizes(mesh: Mesh, indicator: np.ndarray, height_indicator: np.ndarray, reduction: float, rate: np.ndarray) -> np.ndarray | None:
    """The same where edges are halved, once or several times, and no cell changes otherwise: sizes at the nodes (n,), read at corners.

    None where mapped cells need more rows, and where no more than half of the sum would go because most steps are smaller than halves.
    """
    step, _, rows = _refined_steps(mesh, indicator, height_indicator, reduction, rate)
    if any(wanted.count > mesh.mapped[zone].shape[1] for zone, wanted in rows.items()):
        return None
    corners, exterior = mesh.triangles[:, :3], mesh.region == EXTERIOR
    size = np.full(mesh.size, np.inf)
    for triangles in (np.flatnonzero(~exterior), np.flatnonzero(exterior)):
        np.minimum.at(size, corners[triangles], _smoothed(mesh, triangles, (step * mesh.cell_size)[triangles]))
    halved = 2.0 ** np.round(np.log2(np.minimum(size[corners].mean(axis=1) / mesh.cell_size, 1.0)))
    return size if (indicator * halved**rate).sum() < LEFT_BY_HALVING * indicator.sum() else None


def _refined_steps(mesh: Mesh, indicator: np.ndarray, height_indicator: np.ndarray, reduction: float,
                   rate: np.ndarray | None) -> tuple[np.ndarray, np.ndarray, dict[ZoneKey, Rows]]:
    """Sizes and heights of the next cells over those of the cells there are, each (m,), and the rows of mapped zones.

    The minimum of sum s^-2 under sum eta s^q = sum eta / reduction is s^(q + 2) = 2 scale p / (q eta), in order p where q = 2p.
    """
    eta, p = np.maximum(indicator, 1e-12 * (indicator.max() or 1.0)), mesh.order
    rate = np.full(eta.shape, 2.0 * p) if rate is None else rate
    smallest = np.where(rate < 2 * p, SMALLEST_STEP_AT_CORNER, SMALLEST_STEP)
    scale = _scale(eta, reduction, p, rate, smallest)
    step = np.clip((2 * p * scale / (rate * eta)) ** (1 / (rate + 2)), smallest, 1.0)
    height = np.where(mesh.is_mapped, 1.0, step)
    rows = {}
    for zone, triangles in mesh.mapped.items():
        step[triangles], height[triangles], rows[zone] = refined_mapped_cells(mesh, triangles, eta, height_indicator, scale, rate,
                                                                              SMALLEST_STEP)
    return step, height, rows


def _scale(eta: np.ndarray, reduction: float, p: int, rate: np.ndarray, smallest: np.ndarray) -> float:
    """The scale with which the sum of the indicator falls by `reduction`; where not all rates are 2 p, by bisection."""
    regular = (eta.sum() / reduction / (eta ** (1 / (p + 1))).sum()) ** ((p + 1) / p)
    if (rate == 2 * p).all():
        return regular
    target = max(eta.sum() / reduction, 2 * (eta * smallest**rate).sum())
    low, high = math.log(regular) - 60, math.log(regular) + 60
    for _ in range(60):
        middle = 0.5 * (low + high)
        step = np.clip((2 * p * math.exp(middle) / (rate * eta)) ** (1 / (rate + 2)), smallest, 1.0)
        low, high = (middle, high) if (eta * step**rate).sum() < target else (low, middle)
    return math.exp(low)


def coarsened_sizes(mesh: Mesh, factor: float) -> CellSizes:
    """Cell sizes that are `factor` times those of a mesh everywhere."""
    rows = {}
    for zone, triangles in mesh.mapped.items():
        heights = row_heights(mesh, triangles)
        rows[zone] = graded_rows(len(heights) / factor, factor * min(heights[0], heights[-1]) / heights.sum())
    return _requested_sizes(mesh, factor * mesh.cell_size, rows)


def _requested_sizes(mesh: Mesh, wanted: np.ndarray, rows: dict[ZoneKey, Rows]) -> CellSizes:
    """Smooth sizes at the corners from those wanted in each triangle (m,)."""
    domains = []
    for exterior in (False, True):
        triangles = np.flatnonzero((mesh.region == EXTERIOR) == exterior)
        domains += [mesh.corners[triangles], _smoothed(mesh, triangles, wanted[triangles])]
    return CellSizes(*domains, rows)


def _smoothed(mesh: Mesh, triangles: np.ndarray, wanted: np.ndarray) -> np.ndarray:
    """Sizes at the corners: mean of the logarithms around each node, then limited in growth; shape (m, 3)."""
    corners = mesh.triangles[triangles, :3]
    if not len(corners):
        return np.zeros((0, 3))
    share = np.bincount(corners.ravel(), minlength=mesh.size)
    size = np.bincount(corners.ravel(), weights=np.repeat(np.log(wanted), 3), minlength=mesh.size) / np.maximum(share, 1)
    size = np.where(share > 0, np.exp(size), np.inf)
    return np.exp(np.round(np.log(_limited(mesh, corners, size)[corners]), 3))      # so that rounding errors do not change the mesh


def _limited(mesh: Mesh, corners: np.ndarray, size: np.ndarray) -> np.ndarray:
    """Sizes at nodes (n,) made smaller where they grow by more than GRADATION times the distance between corners of triangles (m, 3)."""
    start, end = corners[:, [0, 1, 2]].ravel(), corners[:, [1, 2, 0]].ravel()
    growth = GRADATION * np.linalg.norm(mesh.nodes[end] - mesh.nodes[start], axis=1)
    for _ in range(8):
        limit = size.copy()
        np.minimum.at(limit, end, size[start] + growth)
        np.minimum.at(limit, start, size[end] + growth)
        size = limit
    return size
