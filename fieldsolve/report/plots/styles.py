"""How axes look in every figure: new figures, line styles that differ without colour, frames, powers of ten, one size of letters."""
from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from matplotlib.axes import Axes

FLAT = 0.8              # height over width of a picture, up to which its scale of colours stands below it
NARROWEST = 4.6         # inches: the least width of a figure, for its key
LINE_STYLES = (("-", "black"), ("--", "0.35"), (":", "black"), ("-.", "0.5"), ((0, (1, 1)), "0.35"), ((0, (5, 1, 1, 1, 1, 1)), "0.2"))
MARKERS = ("o", "s", "^", "D", "v", "x")        # of the same lines
HANDLE = 2.2            # of a line in a key, and LETTER the mean width of a letter, in the size of its letters
LETTER = 0.55
KEY_ROOM = 1.15         # of the width of axes before the layout, which widens them
FONT = "medium"         # size of every text in a figure: that of the reader's own settings
ROW_WIDTH, ROW_TALLEST = 2.25, 3.0      # inches of a picture of a row, and its height over its width at most
LEFT, RIGHT, BETWEEN = 4.6, 1.6, 1.6       # room beside the pictures and between them, in the size of letters, as all below
BELOW, ABOVE, TITLE = 3.6, 1.9, 1.7        # for the abscissa's numbers and name, a picture's title and the figure's
BAR, BAR_GAP, BAR_BELOW = 0.8, 0.9, 3.4    # a scale of colours, the room above it and that of its numbers and name
TITLE_TOP = 0.995               # where the figure's title ends, of its height
BAR_SHARE, BAR_DIVISIONS = 0.94, 4         # of a picture's width; between the numbers of a scale, at most
_SHOWN: ContextVar[bool] = ContextVar("_SHOWN", default=True)
_CHECK: ContextVar[Callable[[], None]] = ContextVar("_CHECK", default=lambda: None)


@contextmanager
def figures_for_files() -> Iterator[None]:
    """Within it new figures are not shown by a notebook or by pyplot, which would keep them: they are written and forgotten."""
    token = _SHOWN.set(False)
    try:
        yield
    finally:
        _SHOWN.reset(token)
    _CHECK.get()()


@contextmanager
def checked_after_drawings(check: Callable[[], None]) -> Iterator[None]:
    """Within it `check` is called after each drawing for a file: a signal that came while the interpreter cleaned up is lost otherwise."""
    token = _CHECK.set(check)
    try:
        yield
    finally:
        _CHECK.reset(token)


def new_figure(width: float, height: float, layout: str | None = "constrained"):
    """A new figure of `width` and `height` in inches, which a notebook and `pyplot.show` show."""
    if _SHOWN.get():
        import matplotlib.pyplot as plt

        return plt.figure(figsize=(width, height), layout=layout)
    from matplotlib.figure import Figure

    return Figure(figsize=(width, height), layout=layout)


def new_axes(width: float, height: float):
    """Axes of a new figure of `width` and `height` in inches."""
    return new_figure(width, height).add_subplot()


def stacked_axes(count: int, width: float = 6.4, height: float = 2.6):
    """Axes of a new figure, `count` one above the other over the same abscissa, each of `width` and about `height` in inches."""
    return new_figure(width, height * count + 0.2).subplots(count, 1, sharex=True)


def axis_line(ax) -> None:
    """The axis of revolution, dash-dotted as in drawings."""
    ax.axvline(0.0, color="black", linewidth=0.9, linestyle=(0, (9, 3, 2, 3)), zorder=2.5)


def plane_axes(box: tuple[float, float, float, float], key: int = 0):
    """Axes of a new figure that a box (r_min, r_max, z_min, z_max) in true proportion fills well, with room for a key of some lines."""
    shape = min(max((box[3] - box[2]) / (box[1] - box[0]), 0.15), 4.0)
    width = min(4.5 if shape > FLAT else 6.5, 7.0 / shape)
    return new_axes(max(width + 1.6, NARROWEST if key else 0.0), width * shape + 1.2 + (0.0 if shape > FLAT else 0.8) + 0.24 * key)


def add_colour_scale(ax, filled, label: str, box: tuple[float, float, float, float], ticks=None) -> None:
    """The scale of colours: beside a picture of a box, or below it where the box is flat; every band as wide as the next."""
    tall = box[3] - box[2] > FLAT * (box[1] - box[0])
    bar = ax.figure.colorbar(filled, ax=ax, location="right" if tall else "bottom", shrink=0.8, aspect=24, label=label,
                             spacing="uniform", ticks=ticks)
    ax.set_anchor("C")                  # a colour bar anchors its picture at the top, where the layout cuts off what stands above
    values = bar.get_ticks()
    bar.set_ticks(values, labels=[f"{value:g}" for value in values])
    bar.minorticks_off()


def picture_row(count: int, box: tuple[float, float, float, float], scales: bool = False) -> tuple[list[Axes], list[Axes | None]]:
    """Axes of a new figure for pictures of a box (left, right, low, high), and those of a scale of colours below each, or None.

    Their places are known beforehand: a layout that measures all letters takes a third of a picture's time.
    """
    import matplotlib as mpl

    letter = mpl.rcParams["font.size"] / 72                      # inches
    height = ROW_WIDTH * min((box[3] - box[2]) / (box[1] - box[0]), ROW_TALLEST)
    scale_room = letter * (BAR_GAP + BAR + BAR_BELOW) if scales else 0.0
    below = scale_room + letter * BELOW
    width, above = letter * (LEFT + RIGHT + BETWEEN * (count - 1)) + count * ROW_WIDTH, letter * (ABOVE + (TITLE if scales else 0.0))
    size = width, below + height + above
    figure = new_figure(*size, layout=None)

    def axes_at(left: float, low: float, width: float, height: float, **options) -> Axes:
        return figure.add_axes((left / size[0], low / size[1], width / size[0], height / size[1]), **options)

    starts = [letter * LEFT + k * (ROW_WIDTH + letter * BETWEEN) for k in range(count)]
    axes: list[Axes] = []
    for left in starts:
        axes.append(axes_at(left, below, ROW_WIDTH, height, sharey=axes[0] if axes else None))
        axes[-1].yaxis.set_visible(left == starts[0])
    margin = 0.5 * (1 - BAR_SHARE) * ROW_WIDTH
    bars = [axes_at(left + margin, letter * BAR_BELOW, BAR_SHARE * ROW_WIDTH, letter * BAR) if scales else None for left in starts]
    return axes, bars


def add_scale_below(ax: Axes, bar: Axes | None, filled, label: str) -> None:
    """The scale of colours of a picture, in the axes made for it; without them in room taken from the picture."""
    place = {"cax": bar, "orientation": "horizontal"} if bar is not None else {"ax": ax, "location": "bottom", "shrink": 0.9, "aspect": 24}
    ax.figure.colorbar(filled, label=label, format="{x:g}", **place).locator.set_params(nbins=BAR_DIVISIONS)


def powers_of_ten(ax, axis: str = "y") -> None:
    """Write an axis in powers of ten where its numbers are below 0.001 or from 10 000 on."""
    ax.ticklabel_format(axis=axis, style="sci", scilimits=(-4, 4), useMathText=True)


def key_above(ax, entries: int) -> None:
    """The key of the lines above the axes, where no line runs through it; none for a single line."""
    if entries > 1:
        ax.legend(frameon=False, fontsize=FONT, loc="lower left", bbox_to_anchor=(0.0, 1.0), ncols=_key_columns(ax, entries),
                  borderaxespad=0.2, handlelength=HANDLE, columnspacing=1.2, handletextpad=0.5)


def _key_columns(ax, entries: int) -> int:
    """Columns of a key, at most three and two of four entries, that are about as wide as the axes at most."""
    from matplotlib.font_manager import FontProperties

    letters = [len(label) for label in ax.get_legend_handles_labels()[1]]
    room = 72 * KEY_ROOM * ax.bbox.width / ax.figure.figure.dpi / FontProperties(size=FONT).get_size_in_points()
    for columns in ([2] if entries == 4 else range(min(entries, 3), 1, -1)):
        rows = -(-len(letters) // columns)
        widths = [max(letters[k:k + rows]) for k in range(0, len(letters), rows)]
        if sum(LETTER * width + HANDLE + 1.7 for width in widths) <= room:
            return columns
    return 1
