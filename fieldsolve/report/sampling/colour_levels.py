"""Levels of a colour map that reach the largest value: even steps, or growing ones where a few places tower over the rest."""
from __future__ import annotations

import math

import numpy as np

BANDS = 12                          # about
MOST_DECADES = 2.5                  # that steps by 1, 2, 5 go down from the largest value
DISTINGUISHED_SHARE = 0.99          # share of the area that even steps must distinguish
FEW_STEPS = 50.0                    # times the lowest step, up to which there are six steps a decade
CLIP_RATIO = 1.3                    # a largest value within this of that share's has even steps


def colour_levels(top: float, largest: float, highest: float = math.inf) -> np.ndarray:
    """Borders of the bands of a colour map from 0 on; the last is `largest` or a little above it, and no more than `highest`.

    top  value that most of the area stays below; where `largest` is far above it the bands grow in round steps

    >>> colour_levels(1.0, 1.1).tolist()[:3]
    [0.0, 0.1, 0.2]
    >>> colour_levels(1.0, 6.052).tolist()[-4:]
    [1.0, 2.0, 5.0, 6.1]
    """
    if not largest > 0:
        return np.linspace(0.0, 1.0, BANDS + 1)
    largest = min(largest, highest)
    return _even_levels(largest) if largest < CLIP_RATIO * top else _growing_levels(top, largest)


def _even_levels(largest: float) -> np.ndarray:
    from matplotlib.ticker import MaxNLocator

    return MaxNLocator(BANDS, steps=[1, 2, 2.5, 5, 10]).tick_values(0.0, largest)


def _growing_levels(top: float, largest: float) -> np.ndarray:
    """0, then round steps from a tenth of `top` on, finer ones over less than a decade or so, and the largest rounded up to two digits."""
    lowest = max(0.1 * top, largest / 10**MOST_DECADES)
    factors = (1, 1.5, 2, 3, 5, 7) if largest < FEW_STEPS * lowest else (1, 2, 5)
    first, last = math.floor(math.log10(lowest)), math.ceil(math.log10(largest))
    steps = [float(f"{factor}e{power}") for power in range(first, last + 1) for factor in factors]
    unit = 10.0 ** (math.floor(math.log10(largest)) - 1)
    end = float(f"{math.ceil(largest / unit * (1 - 1e-9)) * unit:.6g}")
    return np.array([0.0, *(step for step in steps if lowest <= step < 0.95 * end), end])


def readable_ticks(levels: np.ndarray) -> np.ndarray:
    """Levels that are labelled: all of a few, every second one of many, the last always."""
    return levels if len(levels) <= BANDS - 2 else levels[len(levels) % 2 == 0::2]


def area_quantile_and_largest(r: np.ndarray, z: np.ndarray, value: np.ndarray,
                              box: tuple[float, float, float, float]) -> tuple[float, float]:
    """Value that is not exceeded in most of the area of triangles (m, 3) in a box, and the largest in it."""
    area = np.abs((r[:, 1] - r[:, 0]) * (z[:, 2] - z[:, 0]) - (r[:, 2] - r[:, 0]) * (z[:, 1] - z[:, 0]))
    at_r, at_z, mean = r.mean(axis=1), z.mean(axis=1), value.mean(axis=1)
    inside = (at_r >= box[0]) & (at_r <= box[1]) & (at_z >= box[2]) & (at_z <= box[3])
    inside = inside if inside.any() else np.ones(len(mean), dtype=bool)
    order = np.argsort(mean[inside])
    cumulative = np.cumsum(area[inside][order])
    return float(mean[inside][order][np.searchsorted(cumulative, DISTINGUISHED_SHARE * cumulative[-1])]), float(value[inside].max())


def band_colours(name: str, colours: tuple[str, ...], levels: np.ndarray):
    """Keywords of a filled contour map whose bands differ evenly, whatever their widths."""
    from matplotlib.colors import BoundaryNorm, LinearSegmentedColormap

    palette = LinearSegmentedColormap.from_list(name, [*colours])         # not a tuple, which may mean a colour and its opacity
    return {"levels": levels, "cmap": palette, "norm": BoundaryNorm(levels, palette.N)}
