"""The checks of a card as bars: how much of each limit is used."""
from __future__ import annotations

from typing import TYPE_CHECKING

from fieldsolve.report.plots.styles import FONT, new_axes
from fieldsolve.report.text.rig import limit_text, value_text
from fieldsolve.rig.checks.rule import AT_LEAST, MUST_BE, NOT_ASSESSED, OUTSIDE, Check

if TYPE_CHECKING:
    from fieldsolve.rig.card import Card

WIDTH, ROW_HEIGHT = 10.0, 0.27       # inches
SHOWN = 1.6                          # times the limit, where a longer bar is cut
OUTSIDE_COLOUR, HARD_COLOUR, WARNING_COLOUR = "#b03030", "0.45", "0.75"
HATCH = "///"                        # of what is outside, which is seen in grey too


def plot_card(card: Card, title: str = "", width: float = WIDTH, row_height: float = ROW_HEIGHT):
    """The share of each limit that a rig uses: value over limit of 'at most', limit over value of 'at least'; returns the axes.

    Hard stops stand above warnings, those outside above those within.  What is not assessed has no row.
    """
    checks = sorted((check for check in card.checks if check.verdict != NOT_ASSESSED),
                    key=lambda check: (not check.hard, check.verdict != OUTSIDE))
    ax = new_axes(width, 4.4 * row_height + row_height * len(checks))
    for row, check in enumerate(checks):
        _draw_check(ax, row, check)
    ax.axvline(1.0, color="black", linewidth=1.2)
    ax.set(xlim=(0, SHOWN), ylim=(max(len(checks), 1) - 0.4, -0.6), xlabel="share of the limit that is used [%]")
    ax.set_yticks(range(len(checks)), [f"{check.quantity}{'' if check.hard else ' (warning)'}" for check in checks], fontsize=FONT)
    ax.set_xticks([0, 0.5, 1.0, 1.5], ["0", "50", "100: limit", "150"])
    ax.spines[["top", "right"]].set_visible(False)
    ax.set_title(f"{title}\n{card.verdict}" if title else card.verdict, loc="left", fontsize=FONT)
    return ax


def used_share(check: Check) -> float | None:
    """How much of its limit a check uses, 1 at the limit; None where it has no number or was not assessed."""
    if check.verdict == NOT_ASSESSED or check.sense == MUST_BE:
        return None
    above, below = (check.limit, check.value) if check.sense == AT_LEAST else (check.value, check.limit)
    return above / below if below else float("inf") if above else 0.0


def _draw_check(ax, row: int, check: Check) -> None:
    """The bar, and beside it value and limit."""
    share, outside = used_share(check), check.verdict == OUTSIDE
    if share is not None:
        colour = OUTSIDE_COLOUR if outside else HARD_COLOUR if check.hard else WARNING_COLOUR
        ax.barh(row, min(share, SHOWN), height=0.7, color=colour, hatch=HATCH if outside else None, edgecolor="white", linewidth=0)
    text = f"{value_text(check)} ({limit_text(check)})"
    words = f"OUTSIDE  {text}" if outside else text
    ax.annotate(words, (1.0, row), xycoords=("axes fraction", "data"), xytext=(6, 0), textcoords="offset points", va="center",
                fontsize=FONT, fontweight="bold" if outside else "normal")
