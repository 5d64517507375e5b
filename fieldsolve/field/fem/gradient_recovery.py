"""Slopes of u with more accuracy than the triangles give: a polynomial fitted to the nodal values around a point.

The patch of a point is its triangle and all triangles of the same region that share a corner with it, so nothing is smoothed across
a border of metal or a current sheet.  In metal a quartic is fitted, or a cubic where nodes are few (polynomial-preserving recovery,
Z. Zhang and A. Naga, SIAM J. Sci. Comput. 26 (2005) 1192).  In air u solves (1/r^3) (r^3 u_r)_r + u_zz = 0, so only polynomials that
do so up to their degree are fitted.  They have half as many coefficients: the same nodes allow a higher degree, and the fit stays
good at the patch's edge.  Cells of air at a corner of metal have that corner's own terms, too (`corner_solutions.py`): by polynomials
alone B is some percent off there.
"""
from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import lru_cache, partial

import numpy as np
from numpy.polynomial.polynomial import polyvander
from scipy.sparse import csr_array

from fieldsolve.field.fem.corner_solutions import TERMS, MetalCorners, corner_slopes, corner_terms, stacked_corners
from fieldsolve.field.fem.mesh_stack import MeshStack, as_stack
from fieldsolve.field.fem.quadrature import sample
from fieldsolve.field.fem.triangle_neighbours import triangles_around
from geometries.mesh import AIR, Mesh, Topology

AIR_DEGREE, METAL_DEGREES = 5, (4, 3)
SURPLUS = 1.3           # nodes a fit must have for each coefficient; with fewer the triangle's own slopes are kept
RANK_TOLERANCE = 1e-6   # smallest diagonal entry of R over the largest with which a fit by QR is used; one row of cells has less
SIZE_CLASS = 64              # nodes by which the sizes of patches that are fitted together differ at most
MOST_PATCHES = 256      # fitted at once: their arrays stay in the cache, and memory fresh from the system would double the time
NEAR_AXIS = 2.0         # patches nearer to the axis than this many of their sizes are fitted with solutions regular on it


def recovered_values(mesh: Mesh | MeshStack, u: np.ndarray, triangle: np.ndarray, place: np.ndarray, r: np.ndarray,
                     z: np.ndarray) -> np.ndarray:
    """u, u_r, u_z at points given by triangle and barycentric place; shape (3, q)."""
    result = interpolated_values(mesh, u, triangle, place)
    if mesh.order > 2:                  # their own slopes are as good as a fit
        return result
    for fit in _fits(as_stack(mesh), triangle, r, z):
        result[1:, fit.points] = fit.slopes_of(u)
    return result


def interpolated_values(mesh: Mesh | MeshStack, u: np.ndarray, triangle: np.ndarray, place: np.ndarray, *_) -> np.ndarray:
    """u, u_r, u_z by the triangles' own shape functions, shape (3, q): for u alone that is as good, and cheaper."""
    return np.stack(sample(mesh, triangle, place[:, None]).interpolate(u))[..., 0]


def recovery_operators(mesh: Mesh, triangle: np.ndarray, place: np.ndarray, r: np.ndarray,
                       z: np.ndarray) -> tuple[csr_array, csr_array, csr_array]:
    """Sparse matrices (q, n) that give u, u_r and u_z at the points from any nodal field: for points that are read many times."""
    points = sample(mesh, triangle, place[:, None])
    nodes = mesh.triangles[triangle]
    rows = [list(nodes) for _ in range(3)]
    values = [list(points.value[:, 0]), list(points.gradient[:, 0, 0]), list(points.gradient[:, 0, 1])]
    for fit in _fits(as_stack(mesh), triangle, r, z):
        patch, weights = fit.nodes[fit.patch], fit.weights()
        for k, point in enumerate(fit.points):
            for direction in (0, 1):
                rows[1 + direction][point], values[1 + direction][point] = patch[k], weights[direction, k]
    return tuple(_csr(row, value, mesh.size) for row, value in zip(rows, values, strict=True))


def _csr(columns: list[np.ndarray], values: list[np.ndarray], size: int) -> csr_array:
    start = np.concatenate([[0], np.cumsum([len(row) for row in columns])])
    return csr_array((np.concatenate(values), np.concatenate(columns), start), shape=(len(columns), size))


@dataclass(frozen=True, eq=False)
class _Fit:
    """Functions fitted to the nodal values of patches by least squares, design = Q R, and points where their slopes are read.

    points (m,)           their numbers, `patch` (m,) the number of the patch of each, and x, y (m,) where it is in that, in its sizes
    size (m,)             of that patch, metres
    nodes (k, n)          of each patch
    q, triangular         (k, n, functions), zero for a node that only fills up, and (k, functions, functions)
    polynomials           (k, polynomials, powers of x, powers of y): the first of the functions
    corner_slopes         (2, m, functions) at the points, of the rest, a corner's own
    """

    points: np.ndarray
    patch: np.ndarray
    x: np.ndarray
    y: np.ndarray
    size: np.ndarray
    nodes: np.ndarray
    q: np.ndarray
    triangular: np.ndarray
    polynomials: np.ndarray
    corner_slopes: np.ndarray

    def slopes_of(self, u: np.ndarray) -> np.ndarray:
        """Slopes (2, m) by r and z of what is fitted to nodal values u."""
        coefficients = np.linalg.solve(self.triangular, np.swapaxes(self.q, 1, 2) @ u[self.nodes][..., None])[..., 0]
        of_polynomials, of_corners = np.split(coefficients, [self.polynomials.shape[1]], axis=1)
        summed = np.einsum("kf,kfij->kij", of_polynomials, self.polynomials)
        slopes = _slopes(summed[self.patch, None], self.x, self.y)[..., 0]
        return (slopes + np.einsum("dqf,qf->dq", self.corner_slopes, of_corners[self.patch])) / self.size

    def weights(self) -> np.ndarray:
        """Weights (2, m, n) that make slopes of nodal values."""
        slopes = np.concatenate([_slopes(self.polynomials[self.patch], self.x, self.y), self.corner_slopes], axis=-1)
        coefficients = np.linalg.solve(self.triangular, np.swapaxes(self.q, 1, 2))
        return (np.moveaxis(slopes, 0, 1) @ coefficients[self.patch]).swapaxes(0, 1) / self.size[:, None]


def _fits(stack: MeshStack, triangle: np.ndarray, r: np.ndarray, z: np.ndarray) -> Iterator[_Fit]:
    """Fits to many patches at once: those of about one size, filled up with a node of no weight."""
    cells, inverse = np.unique(triangle, return_inverse=True)
    joined, start, sizes = _patches(stack, cells)
    first_node, all_corners = cells // stack.count * stack.size, stacked_corners(stack)
    corner, air = all_corners.of_cell[cells], stack.region[cells] <= AIR
    kind = 4 * -(-sizes // SIZE_CLASS) + 2 * air + (corner >= 0)            # one number for the size and both marks
    can_fit = (sizes > 0) & (corner > -2)
    for chosen in np.unique(kind[can_fit]):
        alike = np.flatnonzero((kind == chosen) & can_fit)
        for members in np.array_split(alike, -(-len(alike) // MOST_PATCHES)):
            belongs = np.zeros(len(cells), dtype=bool)
            belongs[members] = True
            points = np.flatnonzero(belongs[inverse])
            rows = np.searchsorted(members, inverse[points])
            place, size = np.arange(sizes[members].max()), sizes[members, None]
            valid, nodes = place < size, joined[start[members, None] + place % size] + first_node[members, None]
            corners = corner[members] if corner[members[0]] >= 0 else None
            for fit in _fit_patches(stack.nodes, nodes, valid, bool(air[members[0]]), corners, all_corners, rows, r[points], z[points]):
                yield replace(fit, points=points[fit.points])


def _patches(stack: MeshStack, cells: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Nodes of patches in a row, numbered as in one mesh, and where in it the patch of each triangle starts, and how many they are."""
    distinct, of_cell = np.unique(cells % stack.count, return_inverse=True)
    owner, nodes, spoiled = _patch_nodes(stack.topology, distinct)
    counts = np.bincount(owner, minlength=len(distinct))
    return nodes, (np.cumsum(counts) - counts)[of_cell], np.where(spoiled, 0, counts)[of_cell]


def _patch_nodes(topology: Topology, cells: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Of each triangle (k,) the nodes of those around it on its side of every border: (owner, node) in a row, by owner.

    Third, whether a line current ends or stands among them, (k,).
    """
    mesh = topology.mesh
    subdomain, singular = _subdomains(topology)
    around, owner = triangles_around(topology, cells)
    beside = subdomain[around] == subdomain[cells[owner]]
    entries = np.sort(owner[beside, None] * mesh.size + mesh.triangles[around[beside]], axis=None)
    owner, nodes = np.divmod(entries[np.diff(entries, prepend=-1) > 0], mesh.size)      # `np.unique` takes ten times as long
    return owner, nodes, np.bincount(owner[np.isin(nodes, singular)], minlength=len(cells)) > 0


@lru_cache(maxsize=4)
def _subdomains(topology: Topology) -> tuple[np.ndarray, np.ndarray]:
    """Number of the side each triangle is on (its region, and within or outside of each current sheet), and the singular nodes."""
    mesh = topology.mesh
    marks, singular = [mesh.region], list(mesh.filament_node.values())
    for edges in mesh.sheet_edges.values():
        nodes = np.unique(edges)
        marks.append(mesh.corners[:, :, 0].mean(axis=1) < mesh.nodes[nodes[0], 0])
        singular += [nodes[mesh.nodes[nodes, 1].argmin()], nodes[mesh.nodes[nodes, 1].argmax()]]
    return np.unique(np.stack(marks, axis=1), axis=0, return_inverse=True)[1].ravel(), np.array(singular, dtype=int)


def _fit_patches(places: np.ndarray, patches: np.ndarray, valid: np.ndarray, air: bool, corners: np.ndarray | None,
                 all_corners: MetalCorners, rows: np.ndarray, r: np.ndarray, z: np.ndarray) -> Iterator[_Fit]:
    """Fits to patches (k, nodes), `valid` or filled up, near the axis and away from it.

    places   (n, 2) of all nodes
    corners  (k,) number of the corner of metal in the middle of each patch; None: there are none
    """
    nodes, count = places[patches], valid.sum(axis=1)
    centre = (nodes * valid[..., None]).sum(axis=1) / count[:, None]
    size = np.abs(nodes - centre[:, None]).reshape(len(nodes), -1).max(axis=1)
    on_axis = air & (centre[:, 0] < NEAR_AXIS * size)
    centre[on_axis, 0] = 0.0
    if corners is not None:
        bases = (~on_axis, _local_solutions),
    elif air:
        bases = (on_axis, _regular_on_axis), (~on_axis, _local_solutions)
    else:
        many = count >= SURPLUS * _monomials(np.zeros(1), METAL_DEGREES[0]).shape[1]
        bases = tuple((chosen, partial(_monomials, degree=degree)) for chosen, degree in zip((many, ~many), METAL_DEGREES, strict=True))
    for chosen, basis in bases:
        at = np.flatnonzero(chosen)
        functions = basis(centre[at, 0] / size[at])                             # (k, functions, powers of x, powers of y)
        enough = count[at] >= SURPLUS * (functions.shape[1] + (0 if corners is None else TERMS))
        at, functions = at[enough], functions[enough]
        if not len(at):
            continue
        x, y = np.moveaxis((nodes[at] - centre[at, None]) / size[at, None, None], 2, 0)
        design = _evaluate(functions, x, y)
        if corners is not None:
            offset, outward, radius = all_corners.offsets(places, corners[at], nodes[at])
            terms = corner_terms(offset / size[at, None], outward, radius / size[at, None])
            design = np.concatenate([design, terms], axis=-1)
        q, triangular = np.linalg.qr(design * valid[at, :, None])
        steps = np.abs(np.diagonal(triangular, axis1=1, axis2=2))
        well_posed = steps.min(axis=1) > RANK_TOLERANCE * steps.max(axis=1)
        at, functions, q, triangular = at[well_posed], functions[well_posed], q[well_posed], triangular[well_posed]
        number = np.full(len(nodes), -1)
        number[at] = np.arange(len(at))
        selected = np.flatnonzero(number[rows] >= 0)
        row, here, scale = number[rows[selected]], centre[rows[selected]], size[rows[selected]]
        of_corners = np.zeros((2, len(selected), 0))
        if corners is not None:
            offset, outward, radius = all_corners.offsets(places, corners[rows[selected]], np.column_stack([r, z])[selected, None])
            of_corners = corner_slopes(offset / scale[:, None], outward, radius / scale[:, None])[:, :, 0]
        yield _Fit(selected, row, (r[selected] - here[:, 0]) / scale, (z[selected] - here[:, 1]) / scale, scale, patches[at], q, triangular,
                   functions, of_corners)


def _evaluate(coefficients: np.ndarray, x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """Each patch's functions at its points (k, nodes); shape (k, nodes, functions)."""
    degree = coefficients.shape[-1] - 1
    i, j = np.nonzero(np.add.outer(np.arange(degree + 1), np.arange(degree + 1)) <= degree)
    monomials = polyvander(x, degree)[..., i] * polyvander(y, degree)[..., j]
    return monomials @ coefficients[:, :, i, j].swapaxes(1, 2)


def _slopes(functions: np.ndarray, x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """Derivatives by x and y of each point's functions (q, functions, powers of x, powers of y) at points (q,); shape (2, q, functions)."""
    X, Y = (polyvander(t, functions.shape[-1] - 1) for t in (x, y))
    dX, dY = (np.zeros_like(T) for T in (X, Y))
    for T, dT in ((X, dX), (Y, dY)):
        dT[:, 1:] = T[:, :-1] * np.arange(1, T.shape[1])
    return np.stack([((by_x[:, None, None] @ functions)[:, :, 0] @ by_y[..., None])[..., 0] for by_x, by_y in ((dX, Y), (X, dY))])


def _monomials(radius: np.ndarray, degree: int) -> np.ndarray:
    """x^i y^j up to a degree; shape (k, functions, degree + 1, degree + 1)."""
    powers = [(i, j) for i in range(degree + 1) for j in range(degree + 1 - i)]
    functions = np.zeros((len(powers), degree + 1, degree + 1))
    for k, (i, j) in enumerate(powers):
        functions[k, i, j] = 1.0
    return np.broadcast_to(functions, (len(radius), *functions.shape))


def _regular_on_axis(radius: np.ndarray) -> np.ndarray:
    """Solutions r^2k z^(n-2k) summed, one of each degree n, about a point of the axis; shape (k, degrees, ...)."""
    degree = AIR_DEGREE + 1
    functions = np.zeros((degree + 1, degree + 1, degree + 1))
    for n in range(degree + 1):
        functions[n, 0, n] = 1.0
        for i in range(0, n - 1, 2):
            functions[n, i + 2, n - i - 2] = -functions[n, i, n - i] * (n - i) * (n - i - 1) / ((i + 2) * (i + 4))
    return np.broadcast_to(functions, (len(radius), *functions.shape))


def _local_solutions(radius: np.ndarray) -> np.ndarray:
    """Solutions up to the degree about points at `radius` patch sizes from the axis, given by u and u_r along r = r_0.

    With (rho + x)(u_xx + u_yy) + 3 u_x = 0 the coefficient of x^i y^j gives a[i+2, j].
    """
    degree = AIR_DEGREE
    starts = [(0, j) for j in range(degree + 1)] + [(1, j) for j in range(degree)]
    a = np.zeros((len(radius), len(starts), degree + 1, degree + 1))
    for k, start in enumerate(starts):
        a[(slice(None), k, *start)] = 1.0
    rho = radius[:, None]
    for i in range(degree - 1):
        for j in range(degree - 1 - i):
            above = (j + 2) * (j + 1) * (rho * a[:, :, i, j + 2] + (a[:, :, i - 1, j + 2] if i else 0.0))
            a[:, :, i + 2, j] = -(above + (i + 1) * (i + 3) * a[:, :, i + 1, j]) / (rho * (i + 2) * (i + 1))
    return a
