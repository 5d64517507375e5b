"""Resistance and inductance of all cells of coaxial conductors."""
from __future__ import annotations

import math

import numpy as np
from scipy.special import ellipe, ellipkm1

from benchmarks.filaments.sections import Block, Wire
from fieldsolve.constants import MU_0

STRIP = 200_000             # pairs of points evaluated at a time


def circles(r, r_other, distance) -> np.ndarray:
    """Mutual inductance of coaxial circles in henry; the fast form of `closed_forms.loops.mutual_inductance`.

        M = mu_0 s (K(k) - E(k)),   s the sum of longest and shortest distance,   k = 4 r r' / s^2

    Source: Maxwell (1873) art. 701 after one descending Landen step, DLMF 19.8.12.
    """
    return _circles(r, r_other, distance)[0]


def smooth_part(r, r_other, distance) -> np.ndarray:
    """M + mu_0 sqrt(r r') ln d in henry, d the shortest distance; where it vanishes mu_0 r (ln 8 r - 2)."""
    mutual, shortest = _circles(r, r_other, distance)
    meeting = shortest == 0
    mean = np.sqrt(r * r_other)
    with np.errstate(invalid="ignore"):
        apart = mutual + MU_0 * mean * np.log(np.where(meeting, 1.0, shortest))
    return np.where(meeting, MU_0 * mean * (np.log(8 * mean) - 2), apart)


def _circles(r, r_other, distance) -> tuple[np.ndarray, np.ndarray]:
    squared = distance * distance
    longest, shortest = np.sqrt((r + r_other) ** 2 + squared), np.sqrt((r - r_other) ** 2 + squared)
    total = longest + shortest
    k = 4 * r * r_other / total**2
    return MU_0 * total * (ellipkm1(4 * longest * shortest / total**2) - ellipe(k * k)), shortest


def inductance_matrix(bodies: list[Block | Wire], mirrored: bool = False) -> np.ndarray:
    """Inductance of all cells, those of the first body first: flux linkages (2 pi r A_phi psi integrated) for psi = 1; H m^4.

    mirrored  True: the bodies lie above the plane z = 0 and are half of the rig; adds the equal currents below
    """
    starts = np.cumsum([0, *(body.size for body in bodies)])
    matrix = np.empty((starts[-1], starts[-1]))
    for a, body in enumerate(bodies):
        for b in range(a, len(bodies)):
            block = _coupling(body, bodies[b], False)
            if mirrored:
                block += _coupling(body, bodies[b], True)
            matrix[starts[a] : starts[a + 1], starts[b] : starts[b + 1]] = block
            matrix[starts[b] : starts[b + 1], starts[a] : starts[a + 1]] = block.T
    return (matrix + matrix.T) / 2


def _coupling(body: Block | Wire, other: Block | Wire, mirrored: bool) -> np.ndarray:
    """Inductance between the cells of two bodies, or of one with itself or with its image."""
    logarithm = _logarithm(body, other, mirrored)
    if logarithm is None:
        return _sampled(circles, body, other, mirrored)
    mean = np.sqrt(np.outer(body.mean_radius, other.mean_radius))
    return _sampled(smooth_part, body, other, mirrored) - MU_0 * mean * logarithm


def _logarithm(body, other, mirrored) -> np.ndarray | None:
    """Integral of ln|x - x'| where the cells may touch; None for sections that are some way apart."""
    if isinstance(body, Block) and isinstance(other, Block):
        return body.logarithm(other, mirrored)
    return body.own_logarithm() if body is other and not mirrored else None


def _sampled(kernel, body, other, mirrored) -> np.ndarray:
    """Integral of kernel psi psi' over both sections by their points, some rows of points at a time."""
    (r, z), (r_other, z_other) = body.points, other.points
    z_other = -z_other if mirrored else z_other
    rows = math.ceil(STRIP / r_other.size)
    half = np.concatenate([
        kernel(r[k : k + rows, None], r_other, z[k : k + rows, None] - z_other) @ other.sampling.T for k in range(0, r.size, rows)
    ])
    return body.sampling @ half
