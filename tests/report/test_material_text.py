"""Metals as text: every screen has room for it, and nothing is lost where a line is broken."""
from __future__ import annotations

import pytest

from fieldsolve.materials import material_data, material_names
from fieldsolve.report.text.material import material_list, material_summary, unconfirmed_summary
from fieldsolve.screen import WIDTH


def words(text: str) -> str:
    return " ".join(text.split())


def test_the_list_fits_a_screen_and_holds_every_name_unbroken():
    shown = material_list()
    assert max(map(len, shown.splitlines())) <= WIDTH
    for name in material_names():
        assert any(line.startswith(f"  {name} ") for line in shown.splitlines())
    assert "aluminum 1100-O" in shown and "% IACS" in shown.splitlines()[0] and "melts, K" in shown.splitlines()[0]


@pytest.mark.parametrize("name", material_names())
def test_a_metal_fits_a_screen_and_every_source_is_whole(name):
    shown, properties = material_summary(material_data(name)), material_data(name)
    assert max(map(len, shown.splitlines())) <= WIDTH
    for entry in (entry for entry in properties.values() if isinstance(entry, dict)):
        assert words(entry["source"]) in words(shown)


def test_what_is_from_memory_fits_a_screen():
    assert max(map(len, unconfirmed_summary().splitlines())) <= WIDTH
