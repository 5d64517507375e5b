"""Figures of many runs: families of curves, contour maps with the card's limits, one result against another, the frontier of a design."""
from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from fieldsolve.errors import InputError
from fieldsolve.report.display_units import prefix_of
from fieldsolve.report.plots.styles import FONT, LINE_STYLES, MARKERS, key_above, new_axes
from fieldsolve.rig.card import RULES

if TYPE_CHECKING:
    from fieldsolve.sweeps.design.result import Design
    from fieldsolve.sweeps.result import Sweep

MARGIN = "margin of "
LEVELS = 9                      # contours of a map
WITHIN = {"marker": "o", "color": "black", "markersize": 5, "linestyle": "none"}
OUTSIDE = {"marker": "o", "markerfacecolor": "white", "markeredgecolor": "0.45", "markersize": 5, "linestyle": "none"}


def plot_curves(sweep: Sweep, quantity: str, x: str | None = None, family: str | None = None, ax=None):
    """Curves of a result over an input, one for each value of another; open marks are outside a limit of the card or not assessed.

    Of further inputs the first value is drawn.

    Parameters
    ----------
    sweep : Sweep
        From `sweep`.
    quantity : str
        A column such as "field in bore".
    x, family : str, optional
        Inputs; default the last one, and of the others the first.
    ax : matplotlib axes, optional
        Where to draw; default a new figure.

    Returns
    -------
    matplotlib axes

    Raises
    ------
    InputError
        For a column that is not there.

    Examples
    --------
    >>> import fieldsolve as fs
    >>> ring = {"coil": {"shape": "ring", "radius": "20 mm", "wire_diameter": "2 mm", "material": "copper", "current": "1 kA"}}
    >>> table = fs.sweep(ring, over={"coil.radius": ["20 mm", "30 mm"]}, workers=1, accuracy=1e-2)
    >>> table.plot("field at centre").get_xlabel()
    'coil.radius [mm]'
    """
    x = x or sweep.inputs[-1]
    others = [name for name in sweep.inputs if name != x]
    family = family or (others[0] if others else None)
    shown = _first_of_others(sweep, [name for name in others if name != family])
    ax = new_axes(6.4, 4.4) if ax is None else ax
    values, drawn, outside = _scaled_column(sweep, x)[0], _scaled_column(sweep, quantity)[0], _is_outside(sweep)
    groups = dict.fromkeys(sweep.rows[k][family] for k in np.flatnonzero(shown)) if family else {None: None}
    for k, group in enumerate(groups):
        chosen = shown & np.array([family is None or row[family] == group for row in sweep.rows])
        order = np.flatnonzero(chosen)[np.argsort(values[chosen], kind="stable")]
        style, colour = LINE_STYLES[k % len(LINE_STYLES)]
        mark = MARKERS[k % (len(MARKERS) - 1)]
        ax.plot(values[order], drawn[order], linestyle=style, color=colour, linewidth=1.1, marker=mark, markersize=5,
                label=None if family is None else _shown(sweep, family, group))
        hollow = order[outside[order]]
        ax.plot(values[hollow], drawn[hollow], linestyle="none", marker=mark, markersize=5, markerfacecolor="white", markeredgecolor=colour)
    ax.set(xlabel=_label(sweep, x), ylabel=_label(sweep, quantity))
    ax.spines[["top", "right"]].set_visible(False)
    if family:
        _key_beside(ax, family)
    _note_below(ax, "open: outside a limit of the card, or not assessed" if outside[shown].any() else "")
    return ax


def plot_contours(sweep: Sweep, quantity: str, x: str | None = None, y: str | None = None, ax=None):
    """Contours of a result over two inputs; heavy lines are limits of the card, hatched on the side that is outside.

    An x marks a run of which not every check was assessed.  Of further inputs the first value is drawn.

    Parameters
    ----------
    sweep : Sweep
        From `sweep`, over a grid or points anywhere.
    quantity : str
        A column such as "field in bore".
    x, y : str, optional
        Inputs that are quantities; default the first two.
    ax : matplotlib axes, optional
        Where to draw; default a new figure.

    Returns
    -------
    matplotlib axes

    Raises
    ------
    InputError
        For a column that is not there, and where fewer than three runs have come out that do not lie on a line.

    Examples
    --------
    >>> import fieldsolve as fs
    >>> ring = {"coil": {"shape": "ring", "radius": "20 mm", "wire_diameter": "2 mm", "material": "copper", "current": "1 kA"}}
    >>> over = {"coil.radius": ["20 mm", "30 mm"], "coil.current": ["1 kA", "2 kA"]}
    >>> fs.sweep(ring, over, workers=1, accuracy=1e-2).plot_map("field at centre").get_ylabel()
    'coil.current [kA]'
    """
    x, y = _two_inputs(sweep, x, y)
    shown = _first_of_others(sweep, [name for name in sweep.inputs if name not in (x, y)])
    (across, _), (up, _), (values, _) = (_scaled_column(sweep, name) for name in (x, y, quantity))
    known = shown & np.isfinite(values)
    if known.sum() < 3 or not _span_an_area(across[known], up[known]):
        raise InputError(f"{quantity}: {known.sum()} runs over {x} and {y} make no map; give more points that do not lie on a line")
    ax = new_axes(6.8, 5.0) if ax is None else ax
    filled = ax.tricontourf(across[known], up[known], values[known], LEVELS, cmap="Greys", alpha=0.45)
    lines = ax.tricontour(across[known], up[known], values[known], levels=filled.levels, colors="0.25", linewidths=0.7)
    for label in ax.clabel(lines, fontsize=FONT, fmt="%g"):
        label.set(clip_on=False, zorder=4, bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.6, "alpha": 0.8})
    ax.plot(across[known], up[known], ".", color="0.3", markersize=2.5)
    missing = shown & ~_is_assessed(sweep)
    ax.plot(across[missing], up[missing], "x", color="black", markersize=6)
    names = _draw_limits(sweep, ax, across, up, shown)
    ax.set(xlabel=_label(sweep, x), ylabel=_label(sweep, y))
    _ticks_at_whole_numbers(ax.xaxis, across)
    _ticks_at_whole_numbers(ax.yaxis, up)
    ax.set_title(_label(sweep, quantity), fontsize=FONT, loc="left")
    if names:
        ax.legend(handles=names, frameon=False, fontsize=FONT, title_fontsize=FONT, loc="upper left", bbox_to_anchor=(0.0, -0.12), ncols=2,
                  title="card's limits", alignment="left", handlelength=3.0)
    return ax


def _ticks_at_whole_numbers(axis, values: np.ndarray) -> None:
    """Ticks of an axis where its values, such as turns, are whole."""
    from matplotlib.ticker import MaxNLocator

    if (values == np.round(values)).all():
        axis.set_major_locator(MaxNLocator(integer=True))


def _key_beside(ax, title: str, **options: Any) -> None:
    ax.legend(frameon=False, fontsize=FONT, title_fontsize=FONT, loc="upper left", bbox_to_anchor=(1.01, 1.0), title=title,
              alignment="left", handlelength=3.0, **options)


def _span_an_area(x: np.ndarray, y: np.ndarray) -> bool:
    """Whether points do not all lie on a line."""
    width, height = np.ptp(x), np.ptp(y)
    if not width * height > 0:
        return False
    return bool(np.linalg.svd(np.stack([(x - x.mean()) / width, (y - y.mean()) / height]), compute_uv=False)[1] > 1e-9)


def _draw_limits(sweep: Sweep, ax, across: np.ndarray, up: np.ndarray, shown: np.ndarray) -> list[Any]:
    """Limits that run through the map; returns the entries of its key."""
    from matplotlib.lines import Line2D

    entries = []
    for name in limiting_checks(sweep):
        margin = sweep.column(f"{MARGIN}{name}")
        known = shown & np.isfinite(margin)
        if known.sum() < 3 or not margin[known].min() < 0 <= margin[known].max():
            continue
        style = LINE_STYLES[len(entries) % len(LINE_STYLES)][0]
        ax.tricontour(across[known], up[known], margin[known], levels=[0.0], colors="black", linewidths=2.0, linestyles=[style])
        outside = ax.tricontourf(across[known], up[known], margin[known], levels=[margin[known].min() - 1.0, 0.0], colors="none",
                                 hatches=["//"])             # one pattern for all, which does not add up where they overlap
        outside.set(edgecolor="0.4", linewidth=0.0)
        words = _in_words(name)
        label = words if known[shown].all() else f"{words}, not assessed at x"
        entries.append(Line2D([], [], color="black", linewidth=2.0, linestyle=style, label=label))
    return entries


def _in_words(check: str) -> str:
    """A check of the card in the words of the card."""
    return next((rule.quantity for rule in RULES if rule.name == check), check)


def plot_trade_off(sweep: Sweep, x: str, y: str, ax=None):
    """One result against another, a mark a run; open marks are outside a limit of the card or not assessed; returns the axes."""
    ax = new_axes(6.4, 4.4) if ax is None else ax
    _draw_runs(ax, _scaled_column(sweep, x)[0], _scaled_column(sweep, y)[0], _is_outside(sweep))
    ax.set(xlabel=_label(sweep, x), ylabel=_label(sweep, y))
    return ax


def plot_frontier(design: Design, ax=None):
    """The runs of a design in the plane of goal and second quantity, its frontier and its best; returns the axes."""
    problem = design.problem
    x, y = problem.against or design.inputs[0], problem.goal
    if problem.against is None:
        raise InputError("the design has no second quantity; give against=, such as 'energy of bank'")
    rows = [row for row in design.rows if row.get(x) is not None and row.get(y) is not None]
    units = [design.units.get(name, "") for name in (x, y)]
    factors = [_prefix([row[name] for row in rows], unit) for name, unit in zip((x, y), units, strict=True)]

    def scaled(some: Any) -> list[np.ndarray]:
        return [np.array([row[name] for row in some]) / factor for name, (factor, _) in zip((x, y), factors, strict=True)]
    ax = new_axes(6.4, 4.4) if ax is None else ax
    met = [all((margin := limit.margin_in(row)) is not None and margin >= 0 for limit in design.limits) for row in rows]
    _draw_runs(ax, *scaled(rows), ~np.array(met, dtype=bool))
    if design.frontier:
        ax.plot(*scaled(design.frontier), color="black", linewidth=1.2, drawstyle="steps-post", label="frontier")
    if design.best is not None:
        ax.plot(*scaled([design.best]), marker="*", markersize=13, color="black", linestyle="none", label="best")
    ax.set(xlabel=_with_unit(x, factors[0][1]), ylabel=_with_unit(y, factors[1][1]))
    key_above(ax, 4)
    return ax


def _draw_runs(ax, x: np.ndarray, y: np.ndarray, outside: np.ndarray) -> None:
    ax.plot(x[outside], y[outside], label="outside a limit, or not assessed", **OUTSIDE)
    ax.plot(x[~outside], y[~outside], label="within the limits", **WITHIN)
    ax.spines[["top", "right"]].set_visible(False)
    if outside.any():
        key_above(ax, 2)


def limiting_checks(sweep: Sweep) -> list[str]:
    """Checks of the card whose margin is not the same in all rows."""
    names = [name.removeprefix(MARGIN) for name in sweep.columns if name.startswith(MARGIN)]
    return [name for name in names if len({row[f"{MARGIN}{name}"] for row in sweep.rows} - {None}) > 1]


def _is_outside(sweep: Sweep) -> np.ndarray:
    """Whether a row is outside a limit that the inputs bear on, or not assessed where others are; (rows,)."""
    names = limiting_checks(sweep)
    outside = np.array([any((row[f"{MARGIN}{name}"] or 0.0) < 0 for name in names) for row in sweep.rows], dtype=bool)
    return outside | ~_is_assessed(sweep)


def _is_assessed(sweep: Sweep) -> np.ndarray:
    """Whether every check that the inputs bear on was assessed in a row; (rows,)."""
    names = limiting_checks(sweep)
    return np.array([all(row[f"{MARGIN}{name}"] is not None for name in names) for row in sweep.rows], dtype=bool)


def _two_inputs(sweep: Sweep, x: str | None, y: str | None) -> tuple[str, str]:
    free = [name for name in sweep.inputs if name not in (x, y)]
    x = x or (free.pop(0) if free else None)
    y = y or (free.pop(0) if free else None)
    if x is None or y is None:
        raise InputError(f"a map needs two inputs; this sweep is over {', '.join(sweep.inputs)}: take plot() for curves")
    return x, y


def _first_of_others(sweep: Sweep, others: list[str]) -> np.ndarray:
    """The rows in which these inputs have their first value."""
    return np.array([all(row[name] == sweep.rows[0][name] for name in others) for row in sweep.rows], dtype=bool)


def _scaled_column(sweep: Sweep, name: str) -> tuple[np.ndarray, str]:
    """A column in the unit of its axis."""
    values = sweep.column(name)
    if values.dtype.kind not in "fi":
        raise InputError(f"{name!r}: holds no numbers; a plot needs a quantity")
    factor, unit = _prefix(values, sweep.unit(name))
    return values / factor, unit


def _prefix(values: Any, unit: str) -> tuple[float, str]:
    """The factor of the prefix that suits the largest value, and the unit with it."""
    magnitudes = np.abs(np.asarray(values, dtype=float))
    largest = float(np.nanmax(magnitudes, initial=0.0))
    if not unit.isalpha() or unit == "K" or not largest > 0:
        return 1.0, unit
    power, prefix = prefix_of(largest)
    return 10.0**power, f"{prefix}{unit}"


def _label(sweep: Sweep, name: str) -> str:
    return _with_unit(name, _scaled_column(sweep, name)[1])


def _with_unit(name: str, unit: str) -> str:
    return f"{name} [{unit}]" if unit else name


def _shown(sweep: Sweep, name: str, value: Any) -> str:
    unit = sweep.unit(name)
    return f"{value:g} {unit}".strip() if isinstance(value, float) else str(value)


def _note_below(ax, text: str) -> None:
    if text:
        ax.annotate(text, (0.99, 0.02), xycoords="axes fraction", ha="right", fontsize=FONT)
