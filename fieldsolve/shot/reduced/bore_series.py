"""The largest |B| of a bore at many instants at once, as `bore_peak.py` finds it at one."""
from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fieldsolve.field.quantities.bore_peak import NEAR_LARGEST, STRONG_FIELD_SHARE, BoreBoundary


@dataclass(frozen=True, eq=False, repr=False)
class BoreReading:
    """Points on the border of a bore and the field of each state there.

    boundary   the points and their neighbours
    recovered  (2, q, m) B_r and B_z of the recovered slopes;  rough  (2, q, m) of the triangles' own slopes
    """

    boundary: BoreBoundary
    recovered: np.ndarray
    rough: np.ndarray

    def __repr__(self) -> str:
        return f"BoreReading({self.rough.shape[1]} points, {self.states} states)"

    @property
    def states(self) -> int:
        """Number of states m."""
        return self.recovered.shape[2]

    def peaks(self, p: np.ndarray) -> np.ndarray:
        """Largest |B| in tesla at instants p (k, m); (k,).

        Of the points where |B| by the triangles' own slopes is large, with their neighbours, and of the vertices of the parabolas
        through local maxima.
        """
        rough = np.hypot(*(p @ B.T for B in self.rough))                                     # (k, q)
        strong = rough >= STRONG_FIELD_SHARE * rough.max(axis=1, keepdims=True)
        ever = strong.any(axis=0)
        triples = ever[self.boundary.middle]
        middle, before, after = (numbers[triples] for numbers in (self.boundary.middle, self.boundary.before, self.boundary.after))
        used = np.zeros(len(ever), dtype=bool)
        used[np.concatenate([np.flatnonzero(ever), before, after])] = True
        number = np.cumsum(used) - 1
        middle, before, after = number[middle], number[before], number[after]
        strength = np.hypot(*(p @ B[used].T for B in self.recovered))
        strong = strong[:, used]
        counts = strong[:, middle]
        kept = strong.copy()
        rows, columns = np.nonzero(counts)
        kept[rows, before[columns]] = kept[rows, after[columns]] = True
        highest = np.where(kept, strength, 0.0).max(axis=1)
        vertices = self._vertices(strength, (middle, before, after), triples, highest)
        return np.maximum(highest, np.where(counts, vertices, 0.0).max(axis=1, initial=0.0))

    def _vertices(self, strength: np.ndarray, numbers: tuple[np.ndarray, ...], triples: np.ndarray, highest: np.ndarray) -> np.ndarray:
        """Heights of the parabolas through local maxima and their neighbours; (k, triples), 0 where there is none."""
        at, before, after = (strength[:, chosen] for chosen in numbers)
        back, ahead = self.boundary.back[triples], self.boundary.ahead[triples]
        rise, fall = (at - before) / back, (at - after) / ahead
        slope, bend = (rise * ahead - fall * back) / (back + ahead), (rise + fall) / (back + ahead)
        top = (rise >= 0) & (fall >= 0) & (at > NEAR_LARGEST * highest[:, None])
        heights = at + np.divide(slope**2, 4 * bend, out=np.zeros_like(slope), where=bend > 0)
        return np.where(top, heights, 0.0)
