"""Metals against the sources their data files name: the published fits and points are typed in here once more."""
import numpy as np
import pytest
from scipy.integrate import trapezoid

import fieldsolve as fs
from fieldsolve.materials import material_data, material_names
from fieldsolve.materials.heat_content import heat_content
from fieldsolve.materials.thermal import ROOM_TEMPERATURE

GAS_CONSTANT = 8.314510                             # J/(mol K), of NASA TM-4513
# c/R = sum of a_k T^k between two temperatures in K: iron, J 3/78, in NASA TM-4513 (1993)
IRON_MOLAR_MASS = 0.055847                          # kg/mol
IRON = [
    (200.0, 1000.0, (2.41337476, -1.57780744e-03, 2.14701339e-05, -3.80171438e-08, 2.20426984e-11)),
    (1000.0, 1042.0, (4690.80173, -9.90659991, 2.69427446e-03, 5.54445321e-06, -3.01659823e-09)),
    (1042.0, 1184.0, (659.678809, -1.14058217, 4.96306997e-04)),
    (1184.0, 1665.0, (61.010999, -0.160945061, 1.68369493e-04, -7.74563702e-08, 1.3309129e-11)),
    (1665.0, 1809.0, (-435.904698, 0.768489448, -4.46898892e-04, 8.67070913e-08)),
]
TRANSFORMATIONS = {1184.0: 16.115e3, 1665.0: 14.988e3}        # K, J/kg, of the same polynomials
TUNGSTEN_MOLAR_MASS = 0.18384                       # kg/mol
# metal: temperatures in K between which the table spreads a heat of transformation that the source has at one temperature
KNOWN_PEAKS = {"iron": [(1174.0, 1194.0), (1655.0, 1675.0)], "steel 1010": [(1174.0, 1194.0), (1655.0, 1675.0)]}


def content_of(name):
    return heat_content(fs.material(name, relative_permeability=1.0))


def iron_heat_capacity(temperature):
    """J/(kg K) at temperatures in K up to 1809 K."""
    pieces = [np.polynomial.Polynomial(coefficients)(temperature) for *_, coefficients in IRON]
    return GAS_CONSTANT / IRON_MOLAR_MASS * np.select([temperature <= end for _, end, _ in IRON], pieces)


def iron_enthalpy(temperature):
    """J/kg from 293.15 K to a temperature in K up to 1809 K, with the heats of transformation."""
    heat = sum(latent for at, latent in TRANSFORMATIONS.items() if at < temperature)
    for start, end, coefficients in IRON:
        low, high = max(start, ROOM_TEMPERATURE), min(end, temperature)
        if high > low:
            integral = np.polynomial.Polynomial(coefficients).integ()
            heat += GAS_CONSTANT / IRON_MOLAR_MASS * (integral(high) - integral(low))
    return heat


def tungsten_heat_capacity(t):
    """J/(kg K): White, Minges (1997) to 3080 K, then Wilthan et al. (2005), as in Tolias (2017)."""
    molar = 21.868372 + 8.068661e-3 * t - 3.756196e-6 * t**2 + 1.075862e-9 * t**3 + 1.406637e4 / t**2
    return np.where(t < 3080.0, molar, 2.022 + 1.315e-2 * t) / TUNGSTEN_MOLAR_MASS


def tungsten_resistivity(t):
    """Ohm m: White, Minges (1997), as in Tolias (2017)."""
    return 1e-8 * (-0.968 + 1.9274e-2 * t + 7.826e-6 * t**2 - 1.8517e-9 * t**3 + 2.0790e-13 * t**4)


def of_the_pure_metal(name, temperature, resistivity_room):
    """Resistivity in ohm m without the excess of the metal of the data file over the pure one at 293.15 K."""
    content = content_of(name)
    return content.resistivity(temperature) - content.resistivity_room + resistivity_room


def heat_capacity(name, temperature):
    """J/(kg K) from the enthalpy, over 0.1 K."""
    content = content_of(name)
    return (content.enthalpy(temperature + 0.05) - content.enthalpy(temperature - 0.05)) / (0.1 * content.density)


@pytest.mark.parametrize("name", ["iron", "steel 1010"])
@pytest.mark.parametrize("temperature", [300.0, 600.0, 900.0, 1000.0, 1043.0, 1200.0, 1500.0, 1740.0])
def test_enthalpy_of_iron(name, temperature):
    """Within 1 %; Perry's Chemical Engineers' Handbook, table 2-151, gives 3 % for alpha and beta iron, 5 % for gamma and delta."""
    content = content_of(name)
    assert content.enthalpy(temperature) / content.density == pytest.approx(iron_enthalpy(temperature), rel=0.01)


@pytest.mark.parametrize("name", ["iron", "steel 1010"])
def test_heat_capacity_of_iron(name):
    """Within 3 %, the uncertainty in Perry's Chemical Engineers' Handbook, but where the table spreads a heat of transformation."""
    t = np.arange(300.0, 1740.0, 1.0)
    for at in TRANSFORMATIONS:
        t = t[np.abs(t - at) > 11.0]
    assert heat_capacity(name, t) == pytest.approx(iron_heat_capacity(t), rel=0.03)


@pytest.mark.parametrize("name", ["iron", "steel 1010"])
@pytest.mark.parametrize(("temperature", "published"), [
    (400.0, 16.1e-8), (600.0, 32.9e-8), (800.0, 57.1e-8), (900.0, 72e-8),                   # Desai, James, Ho (1984), 2 to 5 %
    (1000.0, 89.1e-8), (1073.0, 102.3e-8), (1200.0, 107.3e-8), (1300.0, 110.4e-8), (1400.0, 113.0e-8), (1573.0, 116.8e-8),
])
def test_resistivity_of_iron(name, temperature, published):
    """From 1000 K on 9.61e-8 ohm m and the rise of annealed 1020 steel, ASM Handbook vol. 1 (1990); within 2 %."""
    assert of_the_pure_metal(name, temperature, 9.62e-8) == pytest.approx(published, rel=0.02)


@pytest.mark.parametrize("name", ["iron", "steel 1010"])
def test_resistivity_of_iron_rises_slower_above_the_curie_point(name):
    """The bend that every source has: the rise per kelvin falls to less than a third."""
    below, above = (np.diff(content_of(name).resistivity(np.array(span)))[0] / (span[1] - span[0])
                    for span in ((900.0, 1000.0), (1100.0, 1200.0)))
    assert above < below / 3


def test_heat_capacity_and_enthalpy_of_tungsten():
    """Within 1 % and 0.5 %; SGTE (Dinsdale, CALPHAD 15, 317 (1991)) has 1.4 % more heat up to melting."""
    t = np.linspace(300.0, 3690.0, 2000)
    assert heat_capacity("tungsten", t) == pytest.approx(tungsten_heat_capacity(t), rel=0.01)
    fine = np.linspace(ROOM_TEMPERATURE, 3695.0, 20001)
    heat = trapezoid(tungsten_heat_capacity(fine), fine)
    assert heat == pytest.approx(626.6e3, rel=1e-3)                 # the same sum, as read
    content = content_of("tungsten")
    assert content.enthalpy(3695.0) / content.density == pytest.approx(heat, rel=5e-3)


@pytest.mark.parametrize(("temperature", "published"), [            # as read in a transcription of Tolias (2017)
    (300.0, 5.47e-8), (600.0, 13.04e-8), (900.0, 21.50e-8), (1200.0, 30.66e-8), (1500.0, 40.35e-8), (2000.0, 57.40e-8),
    (2500.0, 75.32e-8), (3000.0, 94.13e-8), (3400.0, 110.0e-8), (3695.0, 122.4e-8),
])
def test_resistivity_of_tungsten(temperature, published):
    """Within 0.5 %; Forsythe, Worthing (1925) agree within 3 %."""
    assert tungsten_resistivity(temperature) == pytest.approx(published, rel=1e-3)
    assert of_the_pure_metal("tungsten", temperature, tungsten_resistivity(ROOM_TEMPERATURE)) == pytest.approx(published, rel=5e-3)


def test_resistivity_of_tungsten_between_the_points():
    t = np.linspace(300.0, 3690.0, 2000)
    assert of_the_pure_metal("tungsten", t, tungsten_resistivity(ROOM_TEMPERATURE)) == pytest.approx(tungsten_resistivity(t), rel=0.01)


@pytest.mark.parametrize("temperature", [3700.0, 4300.0, 5000.0, 5800.0])
def test_resistivity_of_liquid_tungsten(temperature):
    """Seydel, Fucke (1980); their curve is drawn as one straight line, at most 4 % above it."""
    x = temperature - 3695.0
    published = 1e-8 * (135.0 - 1.855e-3 * x + 4.42e-6 * x**2)
    assert of_the_pure_metal("tungsten", temperature, tungsten_resistivity(ROOM_TEMPERATURE)) == pytest.approx(published, rel=0.04)


@pytest.mark.parametrize(("name", "temperature", "published", "relative"), [
    # J/(kg K): NIST-JANAF (1998) in J/(mol K) over kg/mol; within the uncertainty of Perry's Chemical Engineers' Handbook, table 2-151
    ("nickel", 300.0, 26.024 / 0.058693, 0.02), ("nickel", 400.0, 28.493 / 0.058693, 0.02), ("nickel", 500.0, 31.045 / 0.058693, 0.02),
    ("nickel", 600.0, 34.853 / 0.058693, 0.05), ("nickel", 700.0, 30.794 / 0.058693, 0.05), ("nickel", 1000.0, 32.217 / 0.058693, 0.01),
    ("nickel", 1200.0, 33.681 / 0.058693, 0.01), ("nickel", 1500.0, 36.317 / 0.058693, 0.01), ("nickel", 1700.0, 38.284 / 0.058693, 0.01),
    ("zinc", 400.0, 26.346 / 0.06538, 0.01), ("zinc", 600.0, 28.588 / 0.06538, 0.01), ("zinc", 690.0, 29.766 / 0.06538, 0.01),
    ("aluminium 1100-O", 600.0, 27.886 / 0.0269815, 0.01), ("aluminium 1100-O", 900.0, 32.308 / 0.0269815, 0.01),
    ("gold", 1200.0, 153.9, 0.02), ("gold", 1330.0, 168.0, 0.02),                # SGTE (Dinsdale, 1991): 168.7 at 1337 K
])
def test_heat_capacity_of_the_solid_as_published(name, temperature, published, relative):
    assert heat_capacity(name, temperature) == pytest.approx(published, rel=relative)


@pytest.mark.parametrize(("temperature", "published"), [            # K, ohm m
    (294.3, 9.64e-8), (366.5, 12.63e-8), (477.6, 18.79e-8), (588.7, 27.26e-8), (699.8, 33.91e-8), (810.9, 37.90e-8), (922.0, 41.23e-8),
    (1033.2, 44.72e-8), (1144.3, 48.04e-8), (1255.4, 50.87e-8), (1366.5, 53.70e-8),
])
def test_resistivity_of_nickel_200(temperature, published):
    """Special Metals, Nickel 200 and 201, table 3, annealed Nickel 200; within 2.5 %, as Desai, James, Ho (1984) give 2 to 5 %."""
    assert content_of("nickel").resistivity(temperature) == pytest.approx(published, rel=0.025)


@pytest.mark.parametrize("temperature", [950.0, 1050.0, 1160.0])
def test_resistivity_of_liquid_aluminium(temperature):
    """Rhim, Ishikawa (1998): 24.19 + 0.01306 (T - 933.5 K), in 1e-8 ohm m, to 1160 K; within 0.5 %."""
    published = 1e-8 * (24.19 + 0.01306 * (temperature - 933.5))
    table = material_data("aluminium 1100-O")["resistivity"]
    pure = np.interp(ROOM_TEMPERATURE, table["temperature"], table["value"])
    assert of_the_pure_metal("aluminium 1100-O", temperature, pure) == pytest.approx(published, rel=5e-3)


@pytest.mark.parametrize(("name", "key", "published", "relative"), [
    # J/kg, J/(kg K), K. Uncertainty: what the sources differ by among themselves, at least the last digit
    ("iron", "heat_of_fusion", 13.81e3 / 0.055845, 2e-3),            # CRC Handbook; NASA TM-4513 has 247.2e3
    ("iron", "liquid_heat_capacity", 46.024 / 0.055845, 2e-3),       # NIST-JANAF
    ("iron", "boiling", 3133.35, 1e-3),                              # Yaws
    ("iron", "solidus", 1811.0, 2e-3),                               # NIST-JANAF has 1809 K
    ("steel 1010", "heat_of_fusion", 13.81e3 / 0.055845, 2e-3),
    ("steel 1010", "liquid_heat_capacity", 46.024 / 0.055845, 2e-3),
    ("steel 1010", "boiling", 3133.35, 1e-3),
    ("tungsten", "heat_of_fusion", 52.31e3 / TUNGSTEN_MOLAR_MASS, 2e-3),           # CRC Handbook; Tolias (2017) 52.3 kJ/mol
    ("tungsten", "liquid_heat_capacity", 51.3 / TUNGSTEN_MOLAR_MASS, 2e-3),        # Wilthan et al. (2005); SGTE 5 % more
    ("tungsten", "solidus", 3695.0, 1e-3),
    ("tungsten", "boiling", 5828.15, 1e-3),                          # Yaws; Zhang, Evans, Yang (2011) 6200 K
    ("tungsten", "heat_of_vaporisation", 824e3 / TUNGSTEN_MOLAR_MASS, 2e-3),
    ("aluminium 1100-O", "boiling", 2792.15, 1e-3),                  # CRC Handbook; NIST-JANAF 2790.8 K
    ("aluminium 6061-T6", "boiling", 2792.15, 1e-3),
    ("cupronickel 75/25", "solidus", 0.25 * 1373.0 + 0.75 * 1444.0, 1e-3),         # K, C706 and C715, Hussey Copper
    ("cupronickel 75/25", "liquidus", (0.25 * 2100.0 + 0.75 * 2260.0 + 459.67) / 1.8, 1e-3),
    ("cupronickel 75/25", "heat_capacity", 380.0, 0.01),             # both C706 and C715
])
def test_melting_and_boiling_as_published(name, key, published, relative):
    assert np.atleast_1d(material_data(name)[key]["value"])[0] == pytest.approx(published, rel=relative)


@pytest.mark.parametrize(("name", "nickel_share"), [("cupronickel 75/25", 0.25), ("cupronickel 70/30", 0.30)])
def test_cupronickel_follows_the_residual_resistivity_of_its_nickel(name, nickel_share):
    """1.112e-8 ohm m per at.% nickel (read, at 4.2 K) and 2.5e-8 ohm m for temperature: within 1 %, also of C715's sheet."""
    atoms = nickel_share / 58.693, (1 - nickel_share) / 63.546
    law = 1.112e-8 * 100 * atoms[0] / sum(atoms) + 2.5e-8
    assert 1 / fs.material(name).conductivity == pytest.approx(law, rel=0.01)


@pytest.mark.parametrize("name", material_names())
def test_resistivity_rises_without_a_jump_but_on_melting(name):
    """At most 0.7 % a kelvin: iron at room temperature rises by 0.6 %. Melting at most doubles it, or a little more."""
    content = content_of(name)
    solidus, liquidus = content.melting_range
    for start, end in ((content.knots[0], solidus), (liquidus, content.boiling_range[0])):
        resistivity = content.resistivity(np.arange(start, end, 1.0))
        assert np.all(np.diff(resistivity) >= 0)
        assert np.all(np.diff(resistivity) < 0.007 * resistivity[:-1])
    solid, liquid = content.resistivity(np.array([solidus, liquidus]))
    assert 1.0 < liquid / solid < 2.4                # zinc and gold, 2.3: Iida, Guthrie (1988)


@pytest.mark.parametrize("name", material_names())
def test_enthalpy_rises_without_a_jump_but_by_latent_heat(name):
    """Heat capacity from one kelvin to the next by at most 3 % where no transformation is known, and by at most 25 % on melting."""
    content = content_of(name)
    solidus, liquidus = content.melting_range
    ends = {}
    for phase, (start, end) in {"solid": (content.knots[0], solidus), "liquid": (liquidus, content.boiling_range[0])}.items():
        t = np.arange(start, end, 1.0)
        heat = np.diff(content.enthalpy(t)) / content.density
        assert np.all(heat > 0)
        known = np.zeros(len(heat) - 1, dtype=bool)
        for low, high in KNOWN_PEAKS.get(name, []):
            known |= (t[1:-1] > low - 1.0) & (t[1:-1] < high + 1.0)
        assert np.all((np.abs(np.diff(heat)) < 0.03 * heat[:-1]) | known)
        ends[phase] = heat
    assert 0.8 < ends["liquid"][0] / ends["solid"][-1] < 1.25
