"""How axes look in every figure: made without any global state, plain frames, powers of ten for very small and large numbers."""
from __future__ import annotations


def own_axes(width: float, height: float):
    """Axes of a new figure of `width` and `height` in inches."""
    from matplotlib.figure import Figure

    return Figure(figsize=(width, height), layout="constrained").add_subplot()


def plane_axes(box: tuple[float, float, float, float]):
    """Axes of a new figure that a box (r_min, r_max, z_min, z_max) in true proportion fills well."""
    shape = min(max((box[3] - box[2]) / (box[1] - box[0]), 0.25), 4.0)
    width = min(4.5, 7.0 / shape)
    return own_axes(width + 1.6, width * shape + 1.2)


def powers_of_ten(ax, axis: str = "y") -> None:
    """Write an axis in powers of ten where its numbers are below 0.001 or from 10 000 on."""
    ax.ticklabel_format(axis=axis, style="sci", scilimits=(-4, 4), useMathText=True)
