"""Stray field of leads and coil at a distance, and the limits of exposure to it."""
from __future__ import annotations

import math

from fieldsolve.constants import MU_0
from fieldsolve.rig.source import Source

ICNIRP_SOURCE = Source("ICNIRP 2010, Health Phys. 99, 818, table in a book that reproduces it", "read")
STATIC_SOURCE = Source("ICNIRP 2009", "from-memory")
IMPLANT_LIMIT = 0.5e-3                   # T, static; pacemakers may be disturbed below
OCCUPATIONAL = (                         # up to Hz, factor and power of f:  B_rms = factor f^power
    (8.0, 0.2, -2), (25.0, 2.5e-2, -1), (300.0, 1e-3, 0), (3e3, 0.3, -1), (10e6, 1e-4, 0),
)
PUBLIC = ((8.0, 0.04, -2), (25.0, 0.5e-2, -1), (400.0, 0.2e-3, 0), (3e3, 0.08, -1), (10e6, 0.27e-4, 0))


def loop_moment(current: float, area: float) -> float:
    """Magnetic moment in A m^2 of a loop:  I A;  ampere, m^2.  Source: closed form (computed)."""
    return current * area


def dipole_field(moment: float, distance: float) -> float:
    """Flux density in tesla on the axis of a dipole, its largest at that distance:  mu_0 m / (2 pi z^3);  A m^2, metres.

    Source: textbook (computed).  Caution: holds at several times the loop's own size; a wide lead loop reaches further than the coil.
    """
    return MU_0 * moment / (2 * math.pi * distance**3)


def dipole_distance(moment: float, flux_density: float) -> float:
    """Metres from a dipole at which the field on its axis has fallen to `flux_density`:  (mu_0 m / (2 pi B))^(1/3).

    Source: closed form (computed).
    """
    return (MU_0 * moment / (2 * math.pi * flux_density)) ** (1 / 3)


def reference_level(frequency: float, public: bool = False) -> float:
    """Reference level B_rms in tesla for a steady field of 1 Hz to 10 MHz, for workers or the public.

    Source: ICNIRP 2010, Health Phys. 99, 818 (read, in a book that reproduces the table).
    Raises ValueError outside 1 Hz to 10 MHz.
    """
    bands = PUBLIC if public else OCCUPATIONAL
    if not 1.0 <= frequency <= bands[-1][0]:
        raise ValueError(f"frequency {frequency:.4g} Hz is outside the table, 1 Hz to 10 MHz")
    _, factor, power = next(band for band in bands if frequency <= band[0])
    return factor * frequency**power


def peak_reference_level(frequency: float, public: bool = False) -> float:
    """Peak flux density in tesla that belongs to the reference level at a ring's frequency:  sqrt(2) B_rms.

    Source: ICNIRP 2010 (read).  Caution: a pulse is judged by the weighted-peak method, of which this is the case of one frequency.
    """
    return math.sqrt(2) * reference_level(frequency, public)
