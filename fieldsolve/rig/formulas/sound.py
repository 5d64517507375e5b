"""How loud a shot can be: its energy as if it were all a blast in the open."""
from __future__ import annotations

import math

from fieldsolve.rig.source import Source

TNT_ENERGY = 4.184e6                     # J/kg
ATMOSPHERE, REFERENCE_PRESSURE = 101325.0, 20e-6   # Pa, Pa
BOX_ATTENUATION = 10.0                   # dB: the least of the 10 to 25 that a closed box takes
DOUBLE_PROTECTION = 30.0                 # dB: the least of the 30 to 35 of plugs under muffs
BLAST_SOURCE = Source("Kinney and Graham, Explosive Shocks in Air (1985)", "from-memory")
PEAK_SOURCE = Source("OSHA interpretation of 2018-08-13: 140 dB peak, whatever the length", "read")


def blast_pressure(energy: float, distance: float) -> float:
    """Overpressure in pascal of `energy` joule as TNT in the open, at `distance` metres.

        p / p0 = 808 (1 + (Z/4.5)^2) / sqrt((1 + (Z/0.048)^2) (1 + (Z/0.32)^2) (1 + (Z/1.35)^2)),   Z = R / W^(1/3) in m/kg^(1/3)

    Source: Kinney and Graham, Explosive Shocks in Air (1985) (from memory).
    Caution: most of a bank's energy is not blast, so this is an upper bound; walls of the room reflect.
    """
    z = distance / (energy / TNT_ENERGY) ** (1 / 3)
    shape = (1 + (z / 0.048) ** 2) * (1 + (z / 0.32) ** 2) * (1 + (z / 1.35) ** 2)
    return ATMOSPHERE * 808 * (1 + (z / 4.5) ** 2) / math.sqrt(shape)


def peak_sound_level(pressure: float) -> float:
    """Peak level in dB of a pressure in pascal:  20 log10(p / 20 uPa).  Source: definition (computed)."""
    return 20 * math.log10(pressure / REFERENCE_PRESSURE)
