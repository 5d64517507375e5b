"""Cells as they move: the formulas of `quad_elements`, which are the readable form, in place on arrays that are made once an interval.

A sub-step works on some hundred cells, so that the number of numpy's calls and of new arrays decides its time.  The plane part of a
deviator is kept as two real arrays here, `normal` and `shear`, the real and the imaginary part of what `quad_elements` calls plane.
"""
from __future__ import annotations

import numpy as np

from fieldsolve.motion.plastic_flow.quad_elements import SHAPE_TABLE, ElementGeometry, element_geometry, element_rotation, evaluate_map
from fieldsolve.motion.plastic_flow.solid import Solid

HALF_SHAPE_TABLE = 0.5 * SHAPE_TABLE
# from the points to the nodes: of the hoop stress, of the sides along xi, which act along eta, and of those along eta
SCATTER_TABLE = np.ascontiguousarray(np.concatenate([SHAPE_TABLE[:4], SHAPE_TABLE[8:12], -SHAPE_TABLE[4:8]]).T)


class MovingCells:
    """Current geometry of a body's cells, and what the last move did to them.

    maps           (14, cells) complex, as in `ElementGeometry`
    radius_and_jacobian  (2, 4, cells), as there, and weights (4, cells) the volume in m^3 of each point
    volume         (cells,) m^3;  volume_before  that before the last move
    """

    def __init__(self, solid: Solid, positions: np.ndarray):
        self.corners, self.frame, self.corner_table = solid.corners, solid.frame, solid.corner_table
        geometry = element_geometry(evaluate_map(positions, self.corners))
        self.maps, self.weights, self.volume = geometry.maps, geometry.weights, geometry.volume
        self.volume_before = self.volume
        cells = len(self.volume)
        self.radius_and_jacobian, self._before = geometry.radius_and_jacobian, np.empty((2, 4, cells))
        self._half_move, self._middle = np.empty((14, cells), complex), np.empty((14, cells), complex)
        self._plane, self._work = np.empty((2, 4, cells), complex)
        self._sides = np.empty((2, 4, cells), complex)
        self._real, self._sum = np.empty((4, cells)), np.empty((2, 4, cells))
        self._fluxes = np.zeros((12, cells), complex)
        self._mean = np.zeros((4, cells), complex)                    # its real part stays zero
        self._corner_values = np.zeros(4 * cells + 1, complex)        # the last one stays zero: of no corner

    @property
    def geometry(self) -> ElementGeometry:
        """The current geometry."""
        return ElementGeometry(self.maps, self.radius_and_jacobian, self.weights, self.volume)

    def move(self, displacement: np.ndarray) -> float:
        """Move the nodes by (nodes,) complex m; returns the smallest radius in m or Jacobian, not positive where a cell is inside out."""
        np.matmul(HALF_SHAPE_TABLE, displacement[self.corners].view(float), out=self._half_move.view(float))
        np.add(self.maps, self._half_move, out=self._middle)
        np.add(self._middle, self._half_move, out=self.maps)
        self._before, self.radius_and_jacobian = self.radius_and_jacobian, self._before
        radius, jacobian = self.radius_and_jacobian
        radius[:] = self.maps[:4].real
        product = np.conjugate(self.maps[4:8], out=self._work)
        product *= self.maps[8:12]
        jacobian[:] = product.imag
        np.multiply(radius, jacobian, out=self.weights)
        self.weights *= 2 * np.pi
        self.volume_before, self.volume = self.volume, self.weights.sum(axis=0)
        return self.radius_and_jacobian.min()

    def strain_increments(self) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Deviatoric strain of the last move, as `quad_elements.strain_increments`: normal (4, cells), shear (cells,), hoop (4, cells).

        The arrays are used again by the next move.
        """
        total = np.add(self._before, self.radius_and_jacobian, out=self._sum)
        twice_inverse = np.divide(2.0, total[1], out=self._real)
        ratio = np.subtract(self.radius_and_jacobian, self._before, out=self._before)
        ratio /= total
        plane = self._plane_products()
        normal = np.multiply(plane.imag, twice_inverse, out=total[1])
        np.negative(normal, out=normal)
        twice_inverse *= plane.real
        twice_inverse *= self.weights
        shear = twice_inverse.sum(axis=0)
        shear /= self.volume
        hoop = np.multiply(ratio[0], 4 / 3, out=total[0])
        ratio[1] *= 2 / 3
        hoop -= ratio[1]
        return normal, shear, hoop

    def _plane_products(self) -> np.ndarray:
        """(half_xi move_eta - half_eta move_xi)/2 in the cells' own axes half-way, (4, cells) complex."""
        plane = np.multiply(self._middle[4:8], self._half_move[8:12], out=self._plane)
        plane -= np.multiply(self._middle[8:12], self._half_move[4:8], out=self._work)
        plane *= element_rotation(self._middle, self.frame).conj()
        return plane

    def nodal_forces(self, normal: np.ndarray, shear: np.ndarray, hoop: np.ndarray, mean: np.ndarray) -> np.ndarray:
        """Internal forces (nodes,) of the stress, complex, in N, as `quad_elements.element_nodal_forces`; all stresses in Pa.

        normal, shear, hoop  (4, cells);  mean (cells,)
        """
        radius, jacobian = self.radius_and_jacobian
        around = np.multiply(radius, 2 * np.pi, out=self._sum[0])
        cell_shear = np.multiply(self.weights, shear, out=self._real).sum(axis=0)
        cell_shear /= self.volume
        plane = self._plane                                           # i times what the readable form calls plane, times 2 pi r
        np.multiply(around, normal, out=plane.imag)
        np.multiply(around, -cell_shear, out=plane.real)
        plane *= element_rotation(self.maps, self.frame)
        across = np.multiply(hoop, -0.5, out=self._real)
        across += mean
        np.multiply(across, around, out=self._mean.imag)
        sides, fluxes = self.maps[4:12].reshape(2, 4, -1), self._fluxes[4:].reshape(2, 4, -1)
        np.multiply(sides, self._mean, out=fluxes)
        turned = np.conjugate(sides, out=self._sides)
        turned *= plane
        fluxes -= turned
        ring = np.add(hoop, mean, out=self._real)
        ring *= jacobian
        np.multiply(ring, 2 * np.pi, out=self._fluxes[:4].real)
        np.matmul(SCATTER_TABLE, self._fluxes.view(float), out=self._corner_values[:-1].view(float).reshape(4, -1))
        return self._corner_values[self.corner_table].sum(axis=0)
