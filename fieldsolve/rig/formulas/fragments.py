"""The fragment a box must hold: its mass, its face and how fast it can be."""
from __future__ import annotations

import math
from dataclasses import dataclass

from fieldsolve.rig.tables import check_positive

LENGTH_OVER_DIAMETER = 1.3               # of a crumpled turn; gives one of 6.7 g of copper a face of 9 mm


@dataclass(frozen=True)
class Fragment:
    """Mass in kg, speed in m/s and diameter of its round face in metres; `reason` says where the speed comes from."""

    mass: float
    speed: float
    diameter: float
    reason: str

    def __post_init__(self) -> None:
        for name in ("mass", "speed", "diameter"):
            check_positive(f"fragment {name}", getattr(self, name))


def speed_bound(energy: float, mass: float) -> float:
    """Speed in m/s if all the bank's energy became motion of the coil:  sqrt(2 E / m);  joule, kg.

    Source: closed form (computed).
    Caution: a bound for the coil as a whole; jets push single bits faster, so walls are judged at twice this speed too (common practice).
    """
    return math.sqrt(2 * energy / mass)


def lump_diameter(mass: float, density: float) -> float:
    """Face in metres of a turn crumpled to a cylinder 1.3 times as long as wide:  (4 m / (1.3 pi rho))^(1/3);  kg, kg/m^3.

    Source: common practice, no source.  Caution: a straight piece of wire that hits end-on has a smaller face and goes deeper.
    """
    return (4 * mass / (LENGTH_OVER_DIAMETER * math.pi * density)) ** (1 / 3)


def impulse_bound(energy: float, mass: float) -> float:
    """Impulse in N s that the whole coil at the bound speed gives the lid and its bolts:  sqrt(2 E m).  Source: closed form (computed)."""
    return math.sqrt(2 * energy * mass)
