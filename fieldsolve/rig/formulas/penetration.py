"""How thick mild steel must be to stop a fragment, by four published formulas that are recalled, each in its own units.

mass in kg, speed in m/s, diameter of the round face in metres; results in metres of mild steel that are just pierced.
Caution: they agree within a factor of three; a wall takes twice the worst.  Polycarbonate alone is no wall.
"""
from __future__ import annotations

import math

from fieldsolve.rig.source import Source

INCH, FOOT, OUNCE, GRAIN, SLUG, FOOT_POUND = 0.0254, 0.3048, 0.028349523125, 64.79891e-6, 14.593903, 1.3558179
STEEL_STRENGTH = 60e3                    # psi, of the mild steel
SPAN_RATIO = 2.0                               # W/Ws: unsupported over standard width of the plate
SOURCE = Source("BRL and SRI formulas (BC-TOP-9A, 1974), UFC 3-340-02 (2008), Project THOR TR 47 (1961)", "from-memory")


def brl(mass: float, speed: float, diameter: float) -> float:
    """BRL:  T^1.5 = 0.5 m V^2 / (17400 K^2 D^1.5), K = 1;  slug, ft/s, inch.  Source: BC-TOP-9A, Bechtel 1974 (from memory)."""
    return INCH * (0.5 * mass / SLUG * (speed / FOOT) ** 2 / (17400 * (diameter / INCH) ** 1.5)) ** (2 / 3)


def sri(mass: float, speed: float, diameter: float) -> float:
    """SRI:  E/D = (S/46500) (16000 T^2 + 1500 (W/Ws) T), S = 60 ksi, W/Ws = 2;  ft-lb, inch.  Source: BC-TOP-9A (from memory)."""
    demand = 0.5 * mass * speed**2 / FOOT_POUND / (diameter / INCH) * 46500 / STEEL_STRENGTH
    linear_coefficient = 1500 * SPAN_RATIO
    return INCH * (math.sqrt(linear_coefficient**2 + 4 * 16000 * demand) - linear_coefficient) / (2 * 16000)


def ufc(mass: float, speed: float, diameter: float = math.nan) -> float:
    """UFC:  x = 0.21 W^0.33 V^1.22, mild steel;  inch, ounce, 1000 ft/s; the face plays no part.

    Source: UFC 3-340-02 (2008) (from memory); 0.30 in place of 0.21 for armour-piercing.
    """
    return INCH * 0.21 * (mass / OUNCE) ** 0.33 * (speed / FOOT / 1000) ** 1.22


def thor(mass: float, speed: float, diameter: float) -> float:
    """THOR:  V0 = 10^6.523 (e A)^0.906 m^-0.963, mild steel, square on;  ft/s, inch, inch^2, grain.

    Source: Project THOR TR 47 (1961); R. E. Ball (2003) (from memory).
    """
    area = math.pi / 4 * (diameter / INCH) ** 2
    return INCH * (speed / FOOT * (mass / GRAIN) ** 0.963 / 10**6.523) ** (1 / 0.906) / area


FORMULAS = {"BRL": brl, "SRI": sri, "UFC": ufc, "THOR": thor}


def required_thicknesses(mass: float, speed: float, diameter: float) -> dict[str, float]:
    """Metres of mild steel by the name of each formula."""
    return {name: formula(mass, speed, diameter) for name, formula in FORMULAS.items()}


def residual_speed(speed: float, limit_speed: float, mass: float, plug_mass: float) -> float:
    """Speed in m/s behind a plate that is pierced at `limit_speed`, 0 below it:  v_r = m/(m + m_plug) sqrt(v^2 - v_bl^2).

    Source: Recht and Ipson, J. Appl. Mech. 30, 384 (1963) (from memory).
    """
    return mass / (mass + plug_mass) * math.sqrt(max(speed**2 - limit_speed**2, 0.0))
