"""What practitioners report of rigs of the 8 kV class, beside the band of fifteen computed rigs: blanks of five alloys in three coils."""
from __future__ import annotations

from itertools import product

from benchmarks.cases import load
from benchmarks.shot import figures_in_use

COLUMNS = ("quantity", "reported", "one rig, case `common-practice-8-kV`", "fifteen rigs, from", "to", "reported lies")
ALLOYS = ("cupronickel 75/25", "cupronickel 90/10", "brass C260", "aluminium bronze C954", "copper C155")
COILS = (       # wound by hand, invented: turns, pitch and bore radius in m
    {"turns": 9, "pitch_m": 3.5e-3, "bore_radius_m": 12.8e-3},
    {"turns": 10, "pitch_m": 3.3e-3, "bore_radius_m": 12.6e-3},
    {"turns": 11, "pitch_m": 3.2e-3, "bore_radius_m": 12.5e-3},
)
QUANTITIES = {
    "coil_A": ("peak current of the coil", "kA", 1e3), "disc_A": ("peak current of the disc", "kA", 1e3),
    "static_T": ("field of the empty coil at that current", "T", 1.0), "disc_V": ("power over net current round the disc", "V", 1.0),
    "product_W": ("product of the two", "MW", 1e6),
}


def rows() -> list[tuple]:
    """A row a quantity."""
    setup = load("shot.toml")["common-practice-8-kV"].setup
    one = figures_in_use(setup)
    rigs = [figures_in_use(setup | coil | {"disc_material": alloy}) for alloy, coil in product(ALLOYS, COILS)]
    return [_row(key, setup["reported"][key], one[key], [rig[key] for rig in rigs]) for key in QUANTITIES]


def _row(key: str, reported: float, one: float, band: list[float]) -> tuple:
    name, unit, scale = QUANTITIES[key]
    place = "inside" if min(band) <= reported <= max(band) else "below" if reported < min(band) else "above"
    return f"{name} [{unit}]", reported / scale, one / scale, min(band) / scale, max(band) / scale, place
