"""How axes look in every figure: line styles that differ without colour, frames, powers of ten; no global state of pyplot."""
from __future__ import annotations

FLAT = 0.8              # height over width of a picture, up to which its scale of colours stands below it
LINE_STYLES = (("-", "black"), ("--", "0.35"), (":", "black"), ("-.", "0.5"), ((0, (1, 1)), "0.35"), ((0, (5, 1, 1, 1, 1, 1)), "0.2"))
MARKERS = ("o", "s", "^", "D", "v", "x")        # of the same lines


def new_axes(width: float, height: float):
    """Axes of a new figure of `width` and `height` in inches."""
    from matplotlib.figure import Figure

    return Figure(figsize=(width, height), layout="constrained").add_subplot()


def stacked_axes(count: int, width: float = 6.4, height: float = 2.6):
    """Axes of a new figure, `count` one above the other over the same abscissa, each of `width` and about `height` in inches."""
    from matplotlib.figure import Figure

    return Figure(figsize=(width, height * count + 0.2), layout="constrained").subplots(count, 1, sharex=True)


def axis_line(ax) -> None:
    """The axis of revolution, dash-dotted as in drawings."""
    ax.axvline(0.0, color="black", linewidth=0.9, linestyle=(0, (9, 3, 2, 3)), zorder=2.5)


def plane_axes(box: tuple[float, float, float, float], key: int = 0):
    """Axes of a new figure that a box (r_min, r_max, z_min, z_max) in true proportion fills well, with room for a key of some lines."""
    shape = min(max((box[3] - box[2]) / (box[1] - box[0]), 0.15), 4.0)
    width = min(4.5 if shape > FLAT else 6.5, 7.0 / shape)
    return new_axes(width + 1.6, width * shape + 1.2 + (0.0 if shape > FLAT else 0.8) + 0.2 * key)


def add_colour_scale(ax, filled, levels, label: str, box: tuple[float, float, float, float]) -> None:
    """The scale of colours: beside a picture of a box, or below it where the box is flat."""
    tall = box[3] - box[2] > FLAT * (box[1] - box[0])
    bar = ax.figure.colorbar(filled, ax=ax, location="right" if tall else "bottom", shrink=0.8, aspect=24, ticks=levels[::2], label=label)
    powers_of_ten(bar.ax, "y" if tall else "x")
    bar.ax.yaxis.set_offset_position("right")


def powers_of_ten(ax, axis: str = "y") -> None:
    """Write an axis in powers of ten where its numbers are below 0.001 or from 10 000 on."""
    ax.ticklabel_format(axis=axis, style="sci", scilimits=(-4, 4), useMathText=True)
