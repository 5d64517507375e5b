"""Slopes on nested meshes with curved borders: p + 1 for u, p for B, 2 p for the moment and an inductance."""
import pytest

from benchmarks.studies import orders
from geometries.node_layout import ORDERS


@pytest.mark.parametrize("order", ORDERS)
def test_slopes_are_those_of_the_order(order):
    found = {row.quantity: row for row in orders.slopes_of(order)}
    expected = {"u": order + 1, "B": order, "moment": 2 * order, "inductance": 2 * order}
    assert {name: row.expected for name, row in found.items()} == expected
    for name, row in found.items():
        assert row.slopes[-1] == pytest.approx(expected[name], abs=0.06 * expected[name]), row
        assert min(row.slopes) > 0.87 * expected[name], row
