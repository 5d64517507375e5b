"""Lines of equal flux as straight pieces across triangles, all at once: a movie draws them sixty times."""
from __future__ import annotations

import numpy as np


def flux_lines(corners: np.ndarray, flux: np.ndarray, step: float) -> np.ndarray:
    """Pieces (n, 2, 2), from a point to a point, of the lines at (k + 1/2) times `step`, k whole, of a flux linear in each triangle.

    corners  (m, 3, 2);  flux  (m, 3) at the corners

    >>> flux_lines(np.array([[[0.0, 0.0], [1.0, 0.0], [0.0, 1.0]]]), np.array([[0.0, 1.0, 0.0]]), 1.0).tolist()
    [[[0.5, 0.5], [0.5, 0.0]]]
    """
    order = np.argsort(flux, axis=1, kind="stable")
    corners, flux = np.take_along_axis(corners, order[:, :, None], axis=1), np.take_along_axis(flux, order, axis=1)
    first, last = np.ceil(flux[:, 0] / step - 0.5), np.floor(flux[:, 2] / step - 0.5)
    counts = np.where(flux[:, 2] > flux[:, 0], np.maximum(last - first + 1, 0), 0).astype(int)
    triangle = np.repeat(np.arange(len(flux)), counts)
    number = np.arange(len(triangle)) - np.repeat(np.cumsum(counts) - counts, counts)
    level = step * (first[triangle] + number + 0.5)
    below = level < flux[triangle, 1]                               # whether the line leaves before the middle corner or behind it
    start, end = np.where(below, 0, 1), np.where(below, 1, 2)
    return np.stack([_crossing(corners, flux, triangle, start, end, level), _crossing(corners, flux, triangle, 0, 2, level)], axis=1)


def _crossing(corners: np.ndarray, flux: np.ndarray, triangle: np.ndarray, start, end, level: np.ndarray) -> np.ndarray:
    """Points (n, 2) where the flux takes its level between two corners of each triangle."""
    low, high = flux[triangle, start], flux[triangle, end]
    share = np.divide(level - low, high - low, out=np.zeros_like(level), where=high > low)[:, None]
    return (1 - share) * corners[triangle, start] + share * corners[triangle, end]
