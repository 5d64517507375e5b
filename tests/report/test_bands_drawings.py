"""Bands on drawings and on the sheet: the numbers that are drawn are those of the bands."""
import numpy as np
import pytest

from fieldsolve.report.plots.propagation.indices import main_quantities, plot_main_shares
from fieldsolve.report.sheet.key_quantities import band_note, key_quantities
from fieldsolve.report.text.shot import shot_facts
from tests.propagation.small_case import small_bands, small_shot


def test_the_band_of_a_trace_is_drawn_about_it():
    axes = small_bands().plot()
    trace = small_bands().trace("current", "coil")
    left, right = axes[0]
    assert left.lines[0].get_ydata() == pytest.approx(trace.value / 1e3)
    assert right.lines[0].get_ydata() == pytest.approx((trace.low - trace.value) / 1e3)
    assert right.lines[1].get_ydata() == pytest.approx((trace.high - trace.value) / 1e3)
    assert [ax.get_ylabel().split("\n")[0] for ax in axes[:, 0]][:3] == ["current", "current", "field, bore [T]"]


def test_the_bars_are_the_indices():
    axes = small_bands().plot_sensitivities()
    ax, row = np.ravel(axes)[0], main_quantities(small_bands(), 6)[0]
    assert ax.get_title(loc="left") == row.name
    names = [label.get_text() for label in ax.get_yticklabels()]
    light, dark = [bar.get_width() for bar in ax.containers[0]], [bar.get_width() for bar in ax.containers[1]]
    assert light == pytest.approx([100 * row.total[name] for name in names])
    assert dark == pytest.approx([100 * row.first_order[name] for name in names])


def test_a_bar_of_the_sheet_is_divided_wholly():
    ax = plot_main_shares(small_bands(), (3.6, 1.7))
    ends = [max(bar.get_x() + bar.get_width() for bar in bars) for bars in zip(*ax.containers, strict=True)]
    assert ends == pytest.approx([100.0] * len(ends))


def test_the_sheet_has_a_band_beside_each_quantity_that_has_one():
    shot = small_shot()
    facts = shot_facts(shot) | {"errors": None}
    rows = {row.label: row for row in key_quantities(shot, facts, small_bands())}
    assert rows["peak current of coil"].band.endswith(" kA") and " to " in rows["peak current of coil"].band
    assert rows["energy not explained"].band == "-"
    assert "4 of" not in band_note(small_bands()) and "5 full shots" in band_note(small_bands())
    assert all(row.band == "" for row in key_quantities(shot, facts)) and band_note(None) == ""
