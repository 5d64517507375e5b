"""The measured tables of the theory pages: written by their command, and the cheap rows computed again."""
from __future__ import annotations

import pytest

from benchmarks import tables
from benchmarks.documents.module_table import ROOT
from benchmarks.studies import bounds, flow, ringdown, steps, thin_metal
from benchmarks.studies.__main__ import STUDIES, main, markdown, markers


def rows_of(name: str) -> list[list[str]]:
    """Cells of a study's table in its page, without the titles."""
    page, _, columns = STUDIES[name]
    first, last = markers(name)
    text = (ROOT / page).read_text(encoding="utf-8").partition(first)[2].partition(last)[0].strip().splitlines()
    assert text[0] == markdown(columns, []).splitlines()[0]
    return [[cell.strip() for cell in row.strip("|").split("|")] for row in text[2:]]


def test_every_study_has_its_place():
    for name, (page, _, _) in STUDIES.items():
        assert tables.replaced((ROOT / page).read_text(encoding="utf-8"), "", markers(name))
    with pytest.raises(SystemExit, match="2"):
        main(["no-such-study"])


def test_true_errors_stay_within_their_bounds_as_the_page_says():
    written = [[float(cell) for cell in row] for row in rows_of("error-bounds")]
    assert [row[0] for row in written] == list(bounds.ACCURACIES)
    assert all(true <= bound <= accuracy for accuracy, _, _, bound, true in written)
    for row, (accuracy, meshes, unknowns, bound, true) in zip(written, bounds.brooks_coil(bounds.ACCURACIES[:2]), strict=False):
        assert true <= bound <= accuracy
        assert (meshes, unknowns) == (row[1], pytest.approx(row[2], rel=0.05))
        assert bound == pytest.approx(row[3], rel=0.3)


def test_thin_metal_costs_what_the_page_says():
    written = {name: (int(mapped), int(without)) for name, mapped, without in rows_of("thin-metal")}
    foil = "foil disc of 0.2 mm"
    assert list(written) == list(thin_metal.bodies())
    assert all(mapped < without for mapped, without in written.values())
    assert thin_metal.unknowns(thin_metal.bodies()[foil]) == pytest.approx(written[foil][0], rel=0.1)


@pytest.mark.slow
def test_the_page_shows_order_two_and_a_balance_that_closes():
    orders = rows_of("order-in-time")
    assert [row[0] for row in orders] == list(steps.QUANTITIES)
    assert all(float(row[-1]) > 1.9 for row in orders)              # computed again in tests/shot, on a smaller rig
    balances = [(float(accuracy), metal, float(share)) for accuracy, metal, _, _, share in rows_of("energy-balance")]
    assert all(share < 0.5 * accuracy for accuracy, _, share in balances)
    ((_, metal, *_, share),) = [row for row in steps.balances((3e-2,)) if row[1] == "held"]
    assert share == pytest.approx(balances[0][2], rel=0.2) and metal == balances[0][1]


def test_intervals_of_a_ring_down_hold_what_they_promise():
    written = rows_of("ring-down")                                  # a short form is computed again in tests/records
    assert len(written) == 2 * len(ringdown.NAMES)
    for _, records, held, determined, _, widest, error in written:
        assert 92 <= float(held.split()[0]) <= 98 and float(determined.split()[0]) >= 60
        assert int(records) >= ringdown.RECORDS // 2 and float(widest) < 2.0
        assert float(error.split()[0]) > 0
    assert float(written[0][-1].split()[0]) <= 0.2


def test_results_of_moving_metal_settle():
    written = [[float(cell) for cell in row] for row in rows_of("flow-convergence")]
    assert len(written[0]) == len(flow.COLUMNS)
    for column in range(3, len(flow.COLUMNS)):
        values = [row[column] for row in written]
        assert values[1] == pytest.approx(values[2], rel=0.01)
