"""Bilinear quadrilaterals of revolution: how they deform, and the nodal forces of the stress in them.

A vector (r, z) is the complex number `r + i z`; the plane part of a deviator, ((s_rr - s_zz)/2, s_rz), is the complex number
`(s_rr - s_zz)/2 + i s_rz`, beside it its hoop component s_tt. Turning the axes multiplies the one by a unit number, the other by
that number's square, and with u = u_r + i u_z

    (D_rr - D_zz)/2 + i D_rz = (z_xi u_eta - z_eta u_xi) i/(2 det)

Four points of stress a cell. Volume strain is the cell's mean, so that nothing locks where metal keeps its volume (T. J. R. Hughes,
Int. J. Numer. Methods Eng. 15, 1413 (1980)); shear in the cell's own axes is the cell's mean, so that long cells bend; the normal
strains of the four points resist every other mode, so that there is no hourglass mode to hold back and none of its energy.
"""
from __future__ import annotations

from dataclasses import dataclass

import numpy as np

CORNERS = np.array([[-1.0, -1.0], [1.0, -1.0], [1.0, 1.0], [-1.0, 1.0]])
POINTS = CORNERS / np.sqrt(3)


def _table() -> np.ndarray:
    """(14, 4): value, slope by xi and slope by eta of each node's shape function at the four points, and both slopes at the centre."""
    (xi, eta), (a, b) = POINTS.T[:, :, None], CORNERS.T[:, None, :]
    values, by_xi, by_eta = (1 + xi * a) * (1 + eta * b) / 4, a * (1 + eta * b) / 4, b * (1 + xi * a) / 4
    return np.concatenate([values, by_xi, by_eta, CORNERS.T / 4])


TABLE = _table()
SPREAD = np.ascontiguousarray(TABLE[:12].T)              # from the points to the nodes


@dataclass(frozen=True, eq=False)
class Shape:
    """Where the cells are.

    maps      (14, cells) complex, m: what `_table` says of the position
    measure   (2, 4, cells) r and det of the map at the points
    weights   (4, cells) volume in m^3 each point stands for; the cell's volume is their sum
    """

    maps: np.ndarray
    measure: np.ndarray
    weights: np.ndarray
    volume: np.ndarray


def mapped(values: np.ndarray, quads: np.ndarray) -> np.ndarray:
    """(14, cells) complex from complex nodal values: at the points, by xi, by eta, and both slopes at the centre.

    quads  (4, cells) nodes
    """
    return (TABLE @ values[quads].view(float)).view(complex)


def shape_of(maps: np.ndarray) -> Shape:
    """The cells' measures from their maps; turned inside out, a cell has a measure that is not positive."""
    xi, eta = maps[4:8], maps[8:12]
    measure = np.stack([maps[:4].real, xi.real * eta.imag - xi.imag * eta.real])
    weights = 2 * np.pi * measure[0] * measure[1]
    return Shape(maps, measure, weights, weights.sum(axis=0))


def deformation(old: Shape, new: Shape, move: np.ndarray, frame: tuple[np.ndarray, np.ndarray]) -> tuple[np.ndarray, np.ndarray]:
    """Deviatoric strain increments at the points, in each cell's own axes half-way: plane part (complex) and hoop part, (4, cells) each.

    move   (14, cells) the nodes' displacements, mapped
    frame  what `turn` needs
    """
    half = old.maps + 0.5 * move
    hoop, area = (new.measure - old.measure) / (0.5 * (new.measure + old.measure))
    plane = half[4:8] * move[8:12] - half[8:12] * move[4:8]
    plane *= 1j / (old.measure[1] + new.measure[1])
    plane *= turn(half, frame).conj()
    plane.imag = (new.weights * plane.imag).sum(axis=0) / new.volume
    return plane, (2 * hoop - area) / 3


def turn(maps: np.ndarray, frame: tuple[np.ndarray, np.ndarray]) -> np.ndarray:
    """exp(2 i angle), (cells,), of the angle by which each cell has turned: the rotation in the polar decomposition at its centre."""
    across = maps[12] * frame[0] - maps[13] * frame[1]
    return across / across.conj()


def frame_of(maps: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """What `turn` needs of the rectangles at rest: 1/half width, i/half height."""
    return 1 / maps[12].real, 1j / maps[13].imag


def corner_forces(shape: Shape, plane: np.ndarray, hoop: np.ndarray, mean: np.ndarray, frame: tuple[np.ndarray, np.ndarray]) -> np.ndarray:
    """Forces (4, cells), complex, in N over the full circumference, with which the stress pulls at the cells' nodes.

    plane, hoop  (4, cells) deviatoric stress in Pa in each cell's own axes
    mean         (cells,) mean stress in Pa, tension positive
    """
    shear = (shape.weights * plane.imag).sum(axis=0) / shape.volume
    plane = (plane.real + 1j * shear) * turn(shape.maps, frame)
    sides = shape.maps[4:12].reshape(2, 4, -1)
    r, det = shape.measure
    flux = ((mean - 0.5 * hoop) * sides - plane * sides.conj()) * (2j * np.pi * r)
    return (SPREAD @ np.concatenate([2 * np.pi * det * (mean + hoop), -flux[1], flux[0]]).view(float)).view(complex)


def equivalent(plane: np.ndarray, hoop: np.ndarray) -> np.ndarray:
    """Equivalent stress `sqrt(3/2 s:s) = sqrt(3 |plane|^2 + 9/4 hoop^2)` of von Mises in Pa."""
    return np.sqrt(3 * (plane.real**2 + plane.imag**2) + 2.25 * hoop**2)


def lengths(shape: Shape) -> np.ndarray:
    """The length (cells,) in m that a wave must not cross in a step: from the slopes of the shape functions at the centre."""
    xi, eta = shape.maps[12], shape.maps[13]
    det = xi.real * eta.imag - xi.imag * eta.real
    return 2 * det / np.sqrt(xi.real**2 + xi.imag**2 + eta.real**2 + eta.imag**2)
