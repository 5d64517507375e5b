"""Which points of a graph in the plane separate it into parts, and those into smaller ones: nested dissection.

A. George, SIAM J. Numer. Anal. 10 (1973) 345.  Each part is cut along the line r = const or z = const that fewest edges cross, near
its middle; of the points beside the cut those on the side with fewer are the separator.
"""
from __future__ import annotations

import numpy as np

MIN_PART_SIZE = 1000                # points of the parts that are not cut any more
MIDDLE = 0.3, 0.7           # shares of a part's points between which it is cut


def dissection_levels(points: np.ndarray, start: np.ndarray, end: np.ndarray) -> np.ndarray:
    """How late each point must be eliminated: 0 within a part, then by level, the first cut last; points (n, 2), ends of edges (e,)."""
    levels = max(0, int(np.ceil(np.log2(len(points) / MIN_PART_SIZE))))
    elimination_level, part = np.zeros(len(points), dtype=np.uint16), np.zeros(len(points), dtype=np.uint16)
    along = [np.argsort(coordinate) for coordinate in points.T]
    for level in range(levels):
        parts = 2**level
        along = [indices[np.argsort(part[indices], kind="stable")] for indices in along]             # by part, and along the axis in each
        cuts = [_cut(part, parts, indices, start, end) for indices in along]
        is_first = cuts[0][1] <= cuts[1][1]
        upper = np.where(is_first[part], cuts[0][0], cuts[1][0])
        crossing = upper[start] != upper[end]
        beside = np.zeros((2, len(points)), dtype=bool)
        for indices in (start[crossing], end[crossing]):
            beside[upper[indices].astype(np.intp), indices] = True
        below, above = (np.bincount(part[indices], minlength=parts) for indices in beside)
        elimination_level[np.where((below <= above)[part], *beside)] = levels - level
        part = 2 * part + upper
        left = (elimination_level[start] == 0) & (elimination_level[end] == 0)
        start, end = start[left], end[left]
        along = [indices[elimination_level[indices] == 0] for indices in along]
    return elimination_level


def _cut(part: np.ndarray, parts: int, grouped: np.ndarray, start: np.ndarray, end: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Which points lie above the best cut of their part along one axis (n,), and how many edges it crosses (parts,)."""
    place = np.zeros(len(part), dtype=np.int32)
    place[grouped] = np.arange(len(grouped), dtype=np.int32)
    a, b = place[start], place[end]
    count = len(grouped) + 1
    crossing = np.cumsum(np.bincount(np.minimum(a, b), minlength=count) - np.bincount(np.maximum(a, b), minlength=count))
    sizes = np.bincount(part[grouped], minlength=parts)
    starts = np.cumsum(sizes) - sizes
    ranges = zip((starts + MIDDLE[0] * sizes).astype(int), (starts + MIDDLE[1] * sizes).astype(int) + 1, strict=True)
    best = np.array([first + int(np.argmin(crossing[first:last])) for first, last in ranges])
    return place > best[part], crossing[best]
