"""Pictures of one box side by side, at places known beforehand: a layout that measures all letters takes a third of their time."""
from __future__ import annotations

from typing import TYPE_CHECKING

from fieldsolve.report.plots.styles import new_figure

if TYPE_CHECKING:
    from matplotlib.axes import Axes

WIDTH, TALLEST = 2.25, 3.0      # inches of a picture, and its height over its width at most
LEFT, RIGHT, BETWEEN = 4.6, 1.6, 1.6       # room beside the pictures and between them, in the size of letters, as all below
BELOW, ABOVE, TITLE = 3.6, 1.9, 1.7        # for the abscissa's numbers and name, a picture's title and the figure's
BAR, BAR_GAP, BAR_BELOW = 0.8, 0.9, 3.4    # a scale of colours, the room above it and that of its numbers and name
TITLE_TOP = 0.995               # where the figure's title ends, of its height
BAR_SHARE, BAR_DIVISIONS = 0.94, 4         # of a picture's width; between the numbers of a scale, at most


def picture_row(count: int, box: tuple[float, float, float, float], scales: bool = False) -> tuple[list[Axes], list[Axes | None]]:
    """Axes of a new figure for pictures of a box (left, right, low, high), and those of a scale of colours below each, or None."""
    import matplotlib as mpl
    from matplotlib.font_manager import FontProperties

    letter = FontProperties(size=mpl.rcParams["font.size"]).get_size_in_points() / 72
    height = WIDTH * min((box[3] - box[2]) / (box[1] - box[0]), TALLEST)
    scale_room = letter * (BAR_GAP + BAR + BAR_BELOW) if scales else 0.0
    below = scale_room + letter * BELOW
    size = letter * (LEFT + RIGHT + BETWEEN * (count - 1)) + count * WIDTH, below + height + letter * (ABOVE + (TITLE if scales else 0.0))
    figure = new_figure(*size, layout=None)

    def axes_at(left: float, low: float, width: float, height: float, **options) -> Axes:
        return figure.add_axes((left / size[0], low / size[1], width / size[0], height / size[1]), **options)

    starts = [letter * LEFT + k * (WIDTH + letter * BETWEEN) for k in range(count)]
    axes: list[Axes] = []
    for left in starts:
        axes.append(axes_at(left, below, WIDTH, height, sharey=axes[0] if axes else None))
        axes[-1].tick_params(labelleft=left == starts[0])
    margin = 0.5 * (1 - BAR_SHARE) * WIDTH
    bars = [axes_at(left + margin, letter * BAR_BELOW, BAR_SHARE * WIDTH, letter * BAR) if scales else None for left in starts]
    return axes, bars


def add_scale_below(ax: Axes, bar: Axes | None, filled, label: str) -> None:
    """The scale of colours of a picture, in the axes made for it; without them in room taken from the picture."""
    place = {"cax": bar, "orientation": "horizontal"} if bar else {"ax": ax, "location": "bottom", "shrink": 0.9, "aspect": 24}
    ax.figure.colorbar(filled, label=label, format="{x:g}", **place).locator.set_params(nbins=BAR_DIVISIONS)
