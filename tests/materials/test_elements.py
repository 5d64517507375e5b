"""Numbers of the elements against two general reference libraries, and the form of a source that was read."""
import re
from functools import cache

import numpy as np
import pytest

from fieldsolve.materials import material_data, material_names

chemicals = pytest.importorskip("chemicals", reason="the package chemicals is not installed")
mendeleev = pytest.importorskip("mendeleev", reason="the package mendeleev is not installed")

# metal of the package: symbol, CAS number, and why a number of the alloy may differ from the element's by more (share)
ELEMENTS = {
    "copper": ("Cu", "7440-50-8"), "aluminium 1100-O": ("Al", "7429-90-5"), "silver": ("Ag", "7440-22-4"), "gold": ("Au", "7440-57-5"),
    "iron": ("Fe", "7439-89-6"), "nickel": ("Ni", "7440-02-0"), "tungsten": ("W", "7440-33-7"), "zinc": ("Zn", "7440-66-6"),
}
WITHIN = {
    "density": 0.004,                       # printed to three digits
    "liquidus": 0.006,                      # alloys of 99 % melt a little lower
    "boiling": 0.02,                        # the libraries differ by as much between themselves
    "heat_of_fusion": 0.025,
    "heat_capacity": 0.02,
}
FUSION_DIFFERS = {"zinc": 0.04}             # CRC 108.1 kJ/kg, SGTE (Dinsdale 1991) 112.0 and NASA TM-4513 111.7 kJ/kg
AUTHOR_TITLE_PLACE = re.compile(r"^[^,:]+, [^,:]+.*, .+")


@cache
def element_of(symbol):
    return mendeleev.element(symbol)


def _value(metal, key):
    value = material_data(metal)[key]["value"]
    return value[0] if isinstance(value, list) else value


@pytest.mark.parametrize("metal", ELEMENTS)
@pytest.mark.parametrize("key", WITHIN)
def test_an_element_agrees_with_the_reference_libraries(metal, key):
    symbol, number = ELEMENTS[metal]
    element = element_of(symbol)
    molar_mass = element.atomic_weight * 1e-3                                                       # kg/mol
    published = {
        "density": [1e3 * element.density],
        "liquidus": [element.melting_point, chemicals.Tm(number)],
        "boiling": [element.boiling_point, chemicals.Tb(number)],
        "heat_of_fusion": [chemicals.Hfus(number) / molar_mass, 1e3 * element.fusion_heat / molar_mass],
        "heat_capacity": [1e3 * element.specific_heat_capacity],
    }[key]
    within = FUSION_DIFFERS.get(metal, WITHIN[key]) if key == "heat_of_fusion" else WITHIN[key]
    assert min(np.abs(_value(metal, key) / np.array(published) - 1)) <= within


@pytest.mark.parametrize("metal", material_names())
def test_a_number_that_was_read_names_author_title_and_place(metal):
    """'Author, title, place: what was read there'; a place is an address, a page, a journal's volume or an abstract."""
    for key, entry in material_data(metal).items():
        if isinstance(entry, dict) and entry["mark"] == "read":
            head = re.split(r": (?=[^/])", entry["source"])[0]
            assert AUTHOR_TITLE_PLACE.match(head), f"{metal}: {key}: {entry['source']}"
            assert re.search(r"\.\w+(/|$| )|\bp\. \d|\bvol\. |\(\d{4}\)", head), f"{metal}: {key}: {entry['source']}"


def test_a_source_without_an_author_is_refused_by_the_pattern():
    assert not AUTHOR_TITLE_PLACE.match("property tables")
    assert not AUTHOR_TITLE_PLACE.match("a data sheet, example.com")
