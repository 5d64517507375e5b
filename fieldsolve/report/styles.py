"""How axes look in every figure: made without any global state, plain frames, powers of ten for very small and large numbers."""
from __future__ import annotations


def own_axes(width: float, height: float):
    """Axes of a new figure of `width` and `height` in inches."""
    from matplotlib.figure import Figure

    return Figure(figsize=(width, height), layout="constrained").add_subplot()


def powers_of_ten(ax) -> None:
    """Write the y axis in powers of ten below 0.01 and from 1000 on."""
    ax.ticklabel_format(axis="y", style="sci", scilimits=(-2, 3), useMathText=True)
