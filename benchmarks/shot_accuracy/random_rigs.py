"""Random rigs of every kind as case tables, each from a seed; every number is invented."""
from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np

from fieldsolve.constants import MU_0
from fieldsolve.materials import material_names

COILS = ("round solenoid", "square solenoid", "spiral of strip", "two layers", "spiral of round wire")
BODIES = ("disc", "washer off the middle", "clad disc", "ring and core", "tube", "none")
EXTRAS = ("bank alone", "crowbar across the coil", "second bank", "crowbar across the capacitor", "former", "leads", "crowbar by itself")
QUARTERS = (2.0, 3.0)               # quarter periods that a shot lasts
Table = dict[str, object]


@dataclass(frozen=True)
class RandomRig:
    """A rig: its seed, kinds of coil, body and what else there is, and the tables of its case."""

    seed: int
    coil: str
    body: str
    extra: str
    tables: dict[str, Table] = field(repr=False)

    @property
    def kinds(self) -> tuple[str, str, str]:
        """Kinds of coil, body and what else there is."""
        return self.coil, self.body, self.extra


@dataclass(frozen=True)
class _Coil:
    """The table of a coil, and what a body has to keep clear of: radius of its bore and its half height, m; and its inductance, H."""

    table: Table
    bore: float
    half_height: float
    inductance: float


def random_rig(seed: int, motion: bool, quarters: tuple[float, float] = QUARTERS) -> RandomRig:
    """The rig of a seed; successive seeds go through all kinds, seeds alone decide the numbers.

    >>> random_rig(3, motion=False).kinds
    ('two layers', 'ring and core', 'crowbar across the capacitor')
    """
    random = np.random.default_rng([20240, seed])
    kind, body, extra = COILS[seed % len(COILS)], BODIES[seed % len(BODIES)], EXTRAS[seed % len(EXTRAS)]
    coil = _spiral(random, kind) if kind.startswith("spiral") else _solenoid(random, kind)
    tables = {"coil": coil.table}
    if kind.startswith("spiral") and body == "tube":
        body = "disc"                                          # a spiral has no bore for a tube
    if body != "none":
        tables["body"] = (_plate(random, coil, body) if kind.startswith("spiral") else _body_in_bore(random, coil, body))
    tables |= _circuit(random, coil, extra) | {"run": {"motion": motion}}
    tables["run"]["end_time"] = _quantity(random.uniform(*quarters) * _quarter(tables, coil), "us")
    return RandomRig(seed, kind, body, extra, tables)


# --- parts -------------------------------------------------------------------------------------------------------


def _solenoid(random: np.random.Generator, kind: str) -> _Coil:
    layers = 2 if kind == "two layers" else 1
    turns, bore = layers * int(random.integers(2, 17) / layers + 1), random.uniform(8e-3, 40e-3)
    axial = random.uniform(1.2e-3, 5e-3)
    radial = axial if kind == "round solenoid" else axial * random.uniform(0.6, 1.8)
    pitch = axial * random.uniform(1.08, 1.5)
    table = {"shape": "solenoid", "turns": turns, "bore_radius": _mm(bore), **_wire(kind == "round solenoid", radial, axial),
             "pitch": _mm(pitch), "material": _metal(random, "copper")}
    if layers == 2:
        table |= {"layers": 2, "layer_pitch": _mm(radial * random.uniform(1.1, 1.4))}
    length, mean = turns / layers * pitch, bore + layers * radial / 2
    return _Coil(table, bore, length / 2, MU_0 * turns**2 * math.pi * mean**2 / (length + 0.9 * mean))


def _spiral(random: np.random.Generator, kind: str) -> _Coil:
    turns, inner, radial = int(random.integers(3, 13)), random.uniform(4e-3, 15e-3), random.uniform(1.2e-3, 3e-3)
    is_round = kind == "spiral of round wire"
    axial, pitch = radial if is_round else random.uniform(1.0, 3.0) * radial, radial * random.uniform(1.1, 1.4)
    table = {"shape": "spiral", "turns": turns, "inner_radius": _mm(inner), **_wire(is_round, radial, axial), "pitch": _mm(pitch),
             "material": _metal(random, "copper")}
    width = turns * pitch
    mean = inner + width / 2
    return _Coil(table, inner + width, axial / 2, MU_0 * turns**2 * math.pi * mean**2 / (0.9 * mean + 1.1 * width))


def _body_in_bore(random: np.random.Generator, coil: _Coil, kind: str) -> Table:
    """A body within the bore."""
    radius, thickness = coil.bore - random.uniform(0.4e-3, 1.5e-3), random.uniform(0.8e-3, 4e-3)
    if kind == "tube":
        return {"shape": "tube", "inner_radius": _mm(radius - (wall := random.uniform(0.4e-3, 2.5e-3))), "wall": _mm(wall),
                "length": _mm(2 * coil.half_height * random.uniform(0.5, 1.5)), "material": _metal(random)}
    at = {"at": _mm(coil.half_height * random.uniform(-0.6, 0.6))} if random.random() < 0.5 or kind == "washer off the middle" else {}
    return _flat_body(random, kind, radius, thickness) | at


def _plate(random: np.random.Generator, coil: _Coil, kind: str) -> Table:
    """A flat body over a spiral."""
    radius, thickness = coil.bore * random.uniform(0.7, 1.6), random.uniform(0.6e-3, 3e-3)
    at = coil.half_height + random.uniform(0.5e-3, 3e-3) + thickness
    return _flat_body(random, kind, radius, thickness) | {"at": _mm(at)}


def _flat_body(random: np.random.Generator, kind: str, radius: float, thickness: float) -> Table:
    if kind == "clad disc":
        shares = random.dirichlet([4.0] * int(random.integers(2, 4)))
        layers = [[_mm(max(share * thickness, 0.1e-3)), _metal(random)] for share in shares]
        return {"shape": "clad_disc", "radius": _mm(radius), "layers": layers}
    if kind == "ring and core":
        return {"shape": "ring_and_core", "radius": _mm(radius), "core_radius": _mm(radius * random.uniform(0.4, 0.8)),
                "thickness": _mm(thickness), "ring": _metal(random), "core": _metal(random)}
    table = {"shape": "disc", "radius": _mm(radius), "thickness": _mm(thickness), "material": _metal(random)}
    return table if kind == "disc" else table | {"shape": "washer", "hole_radius": _mm(radius * random.uniform(0.15, 0.6))}


def _wire(is_round: bool, radial: float, axial: float) -> Table:
    return {"wire_diameter": _mm(axial)} if is_round else {"wire_section": [_mm(radial), _mm(axial)]}


def _metal(random: np.random.Generator, often: str = "") -> str:
    """A metal of the catalogue, half of the time `often`."""
    metal = str(random.choice(material_names()))
    return often if often and random.random() < 0.5 else metal


# --- the circuit -------------------------------------------------------------------------------------------------


def _circuit(random: np.random.Generator, coil: _Coil, extra: str) -> dict[str, Table]:
    tables: dict[str, Table] = {"bank": _bank(random)}
    quarter = _quarter(tables, coil)
    if extra == "second bank":
        second = _bank(random) | {"arc_voltage": tables["bank"]["arc_voltage"]}
        tables["second_bank"] = second | ({"fires_at": _quantity(random.uniform(0, 1.2) * quarter, "us")} if random.random() < 0.6 else {})
    if extra.startswith("crowbar"):
        tables["crowbar"] = {"resistance": _quantity(_log_uniform(random, 1e-3, 30e-3), "mohm")}
        tables["crowbar"] |= {"inductance": _quantity(random.uniform(10e-9, 100e-9), "nH")} if random.random() < 0.5 else {}
    if extra in ("crowbar across the coil", "crowbar across the capacitor"):
        tables["crowbar"] |= {"across": extra.split()[-1], "fires_at": _quantity(random.uniform(0.2, 1.5) * quarter, "us")}
    if extra == "former":
        tables["former"] = {"mass": _quantity(random.uniform(20e-3, 200e-3), "g"), "strength": _quantity(random.uniform(5e3, 50e3), "kN")}
    if extra == "leads" or random.random() < 0.3:
        tables["leads"] = {"resistance": _quantity(random.uniform(0.1e-3, 3e-3), "mohm"),
                           "inductance": _quantity(random.uniform(10e-9, 150e-9), "nH")}
    return tables


def _bank(random: np.random.Generator) -> Table:
    arc = float(random.choice([0.0, random.uniform(0, 150)]))
    return {"capacitance": _quantity(_log_uniform(random, 10e-6, 500e-6), "uF"),
            "voltage": _quantity(_log_uniform(random, 1e3, 12e3), "kV"),
            "resistance": _quantity(_log_uniform(random, 1e-3, 30e-3), "mohm"),
            "inductance": _quantity(random.uniform(100e-9, 800e-9), "nH"), "arc_voltage": _quantity(arc, "V")}


def _quarter(tables: dict[str, Table], coil: _Coil) -> float:
    """A quarter period of the banks with the empty coil, seconds."""
    banks = [tables[name] for name in ("bank", "second_bank") if name in tables]
    capacitance = sum(_number(bank["capacitance"]) * 1e-6 for bank in banks)
    return math.pi / 2 * math.sqrt((coil.inductance + _number(banks[0]["inductance"]) * 1e-9) * capacitance)


def _log_uniform(random: np.random.Generator, low: float, high: float) -> float:
    return float(np.exp(random.uniform(math.log(low), math.log(high))))


# --- quantities as they stand in a case --------------------------------------------------------------------------

SCALES: dict[str, float] = {"mm": 1e-3, "us": 1e-6, "uF": 1e-6, "kV": 1e3, "V": 1.0, "mohm": 1e-3, "nH": 1e-9, "g": 1e-3, "kN": 1e3}


def _quantity(value: float, unit: str) -> str:
    return f"{value / SCALES[unit]:.4g} {unit}"


def _number(quantity: object) -> float:
    return float(str(quantity).split()[0])


def _mm(metres: float) -> str:
    return _quantity(metres, "mm")
