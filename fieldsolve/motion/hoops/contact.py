"""Turns that meet: how far apart they are, and the blows that keep them so far apart."""
from __future__ import annotations

import numpy as np
from scipy.optimize import nnls

SLACK = 1e-3               # of the film, by which the wanted distance is larger, for a step's curvature
REGULARIZATION = 1e-12              # of the largest inverse mass, so that more contacts than freedoms still have one answer


def gaps(pairs: np.ndarray, middle: np.ndarray, half: np.ndarray, is_round: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Distance in m between the surfaces of each pair, the direction from the first to the second, and both half widths along it.

    Between circles along the line of centres, between other sections along r or z, whichever they are farther apart in.
    pairs (p, 2); middle and half (turns, 2); results (p,), (p, 2), (p, 2)
    """
    first, second = pairs.T
    apart = middle[second] - middle[first]
    distance = np.hypot(*apart.T)
    boxes = np.abs(apart) - half[first] - half[second]
    along_z = boxes[:, 1] > boxes[:, 0]
    box_normal = np.sign(apart) * np.stack([~along_z, along_z], axis=1)
    circles = is_round[first] & is_round[second]
    gap = np.where(circles, distance - half[first, 0] - half[second, 0], boxes.max(axis=1, initial=-np.inf))
    normal = np.where(circles[:, None], apart / distance[:, None], box_normal)
    side = np.where(circles | ~along_z, 0, 1)
    return gap, normal, np.stack([half[first, side], half[second, side]], axis=1)


def gap_rates(pairs: np.ndarray, middle: np.ndarray, normal: np.ndarray, widths: np.ndarray) -> np.ndarray:
    """(p, 2 turns): how fast each gap opens with the turns' speeds; a turn that grows becomes thinner, its half width by w r'/(2 r)."""
    rows = np.zeros((len(pairs), len(middle), 2))
    each = np.arange(len(pairs))
    for end, sign in ((0, -1.0), (1, 1.0)):
        rows[each, pairs[:, end]] += sign * normal
        rows[each, pairs[:, end], 0] += widths[:, end] / (2 * middle[pairs[:, end], 0])
    return rows.reshape(len(pairs), -1)


def contact_impulses(rows: np.ndarray, inverse_mass: np.ndarray, min_rates: np.ndarray, speeds: np.ndarray) -> np.ndarray:
    """Changes of speed after which every gap opens at least as fast as `least`, by pushes alone, with the least kinetic energy of change.

    That is the linear complementarity problem `A p + rows v - least >= 0, p >= 0`, one of them zero for each pair, A = rows M^-1 rows^T,
    as least squares with p >= 0 on its Cholesky factor (C. L. Lawson, R. J. Hanson, Solving Least Squares Problems (1974), chapter 23).

    rows (p, n); inverse_mass, speeds (n,); least (p,) m/s; result (n,)
    """
    matrix = (rows * inverse_mass) @ rows.T
    lower = np.linalg.cholesky(matrix + REGULARIZATION * matrix.max() * np.eye(len(rows)))
    impulses, _ = nnls(lower.T, -np.linalg.solve(lower, rows @ speeds - min_rates))
    return inverse_mass * (rows.T @ impulses)
