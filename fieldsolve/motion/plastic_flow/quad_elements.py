"""Bilinear quadrilaterals of revolution: their strains, and the nodal forces of their stress.

A vector (r, z) is the complex number `r + i z`; the plane part of a deviator, ((s_rr - s_zz)/2, s_rz), is the complex number
`(s_rr - s_zz)/2 + i s_rz`, beside it its hoop component s_tt.  Turning the axes multiplies the one by a unit number and the other
by the square of that number.  With u = u_r + i u_z

    (D_rr - D_zz)/2 + i D_rz = (z_xi u_eta - z_eta u_xi) i/(2 det)

Each cell has four points of stress.  The volume strain is the cell's mean, so that metal of constant volume does not lock (T. J. R. Hughes,
Int. J. Numer. Methods Eng. 15, 1413 (1980)); shear in the cell's own axes is the cell's mean, so that long cells bend; the normal
strains of the four points resist every other mode, so that there is no hourglass mode to hold back and none of its energy.
"""
from __future__ import annotations

from dataclasses import dataclass

import numpy as np

CORNERS = np.array([[-1.0, -1.0], [1.0, -1.0], [1.0, 1.0], [-1.0, 1.0]])
GAUSS_POINTS = CORNERS / np.sqrt(3)


def _shape_table() -> np.ndarray:
    """(14, 4): value, slope by xi and slope by eta of each node's shape function at the four points, and both slopes at the centre."""
    (xi, eta), (a, b) = GAUSS_POINTS.T[:, :, None], CORNERS.T[:, None, :]
    values, by_xi, by_eta = (1 + xi * a) * (1 + eta * b) / 4, a * (1 + eta * b) / 4, b * (1 + xi * a) / 4
    return np.concatenate([values, by_xi, by_eta, CORNERS.T / 4])


SHAPE_TABLE = _shape_table()
SCATTER_TABLE = np.ascontiguousarray(SHAPE_TABLE[:12].T)              # from the points to the nodes


@dataclass(frozen=True, eq=False)
class ElementGeometry:
    """Current geometry of the cells.

    maps                 (14, cells) complex, m: `evaluate_map` of the positions
    radius_and_jacobian  (2, 4, cells) r and det of the map at the points
    weights              (4, cells) volume in m^3 of each point
    volume               (cells,) their sum
    """

    maps: np.ndarray
    radius_and_jacobian: np.ndarray
    weights: np.ndarray
    volume: np.ndarray


def evaluate_map(values: np.ndarray, quads: np.ndarray) -> np.ndarray:
    """(14, cells) complex from complex nodal values: at the points, by xi, by eta, and both slopes at the centre.

    quads  (4, cells) nodes
    """
    return (SHAPE_TABLE @ values[quads].view(float)).view(complex)


def element_geometry(maps: np.ndarray) -> ElementGeometry:
    """Geometry of the cells from their maps; a cell that is turned inside out has a Jacobian that is not positive."""
    xi, eta = maps[4:8], maps[8:12]
    radius_and_jacobian = np.stack([maps[:4].real, xi.real * eta.imag - xi.imag * eta.real])
    weights = 2 * np.pi * radius_and_jacobian[0] * radius_and_jacobian[1]
    return ElementGeometry(maps, radius_and_jacobian, weights, weights.sum(axis=0))


def strain_increments(
    old: ElementGeometry, new: ElementGeometry, move: np.ndarray, frame: tuple[np.ndarray, np.ndarray]
) -> tuple[np.ndarray, np.ndarray]:
    """Deviatoric strain increments at the points, in each cell's own axes half-way: plane part (complex) and hoop part, (4, cells) each.

    move   (14, cells) the nodes' displacements, mapped
    frame  of `reference_frame`
    """
    half = old.maps + 0.5 * move
    hoop, area = (new.radius_and_jacobian - old.radius_and_jacobian) / (0.5 * (new.radius_and_jacobian + old.radius_and_jacobian))
    plane = half[4:8] * move[8:12] - half[8:12] * move[4:8]
    plane *= 1j / (old.radius_and_jacobian[1] + new.radius_and_jacobian[1])
    plane *= element_rotation(half, frame).conj()
    plane.imag = (new.weights * plane.imag).sum(axis=0) / new.volume
    return plane, (2 * hoop - area) / 3


def element_rotation(maps: np.ndarray, frame: tuple[np.ndarray, np.ndarray]) -> np.ndarray:
    """exp(2 i angle), (cells,), of the angle by which each cell has turned: the rotation in the polar decomposition at its centre."""
    rotated_axes = maps[12] * frame[0] - maps[13] * frame[1]
    return rotated_axes / rotated_axes.conj()


def reference_frame(maps: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """What `element_rotation` needs of the rectangles at rest: 1/half width, i/half height."""
    return 1 / maps[12].real, 1j / maps[13].imag


def element_nodal_forces(
    shape: ElementGeometry, plane: np.ndarray, hoop: np.ndarray, mean: np.ndarray, frame: tuple[np.ndarray, np.ndarray]
) -> np.ndarray:
    """Nodal forces (4, cells) of the stress, complex, in N over the full circumference.

    plane, hoop  (4, cells) deviatoric stress in Pa in each cell's own axes
    mean         (cells,) mean stress in Pa, tension positive
    """
    shear = (shape.weights * plane.imag).sum(axis=0) / shape.volume
    plane = (plane.real + 1j * shear) * element_rotation(shape.maps, frame)
    sides = shape.maps[4:12].reshape(2, 4, -1)
    r, det = shape.radius_and_jacobian
    flux = ((mean - 0.5 * hoop) * sides - plane * sides.conj()) * (2j * np.pi * r)
    return (SCATTER_TABLE @ np.concatenate([2 * np.pi * det * (mean + hoop), -flux[1], flux[0]]).view(float)).view(complex)


def von_mises_stress(plane: np.ndarray, hoop: np.ndarray) -> np.ndarray:
    """Equivalent stress `sqrt(3/2 s:s) = sqrt(3 |plane|^2 + 9/4 hoop^2)` of von Mises in Pa."""
    return np.sqrt(3 * (plane.real**2 + plane.imag**2) + 2.25 * hoop**2)


def characteristic_lengths(shape: ElementGeometry) -> np.ndarray:
    """Length (cells,) in m that a wave must not cross in a step, from the slopes of the shape functions at the centre.

    In a mesh of equal parallelograms it is the smaller height: the fastest mode has neighbouring rows against one another.  The fourth
    powers take off up to a sixth where both heights are alike, for the few cells across a thin body and those next to the axis; a
    thousandth is for the hoops' own stiffness.
    """
    xi, eta = shape.maps[12], shape.maps[13]
    det = xi.real * eta.imag - xi.imag * eta.real
    squares = (xi.real**2 + xi.imag**2) ** 2 + (eta.real**2 + eta.imag**2) ** 2
    return 0.999 * 2 * det / np.sqrt(np.sqrt(squares))
