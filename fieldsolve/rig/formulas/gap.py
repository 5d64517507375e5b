"""At which voltage a spark gap breaks by itself in today's air, and how wide it must be."""
from __future__ import annotations

import math
from bisect import bisect_right

from fieldsolve.rig.source import Source

ATMOSPHERE = 101325.0                    # Pa: 760 torr
ROOM_TEMPERATURE = 293.15                            # K
GAP_SOURCE = Source("Kuffel, Zaengl, Kuffel, High Voltage Engineering: uniform field in air", "from-memory")
AIR_SOURCE = Source("a note of 1998 on spark-gap corrections", "read")
SELF_BREAK_SLOPE, SELF_BREAK_ROOT = 24.22e5, 6.08e3 / math.sqrt(1e-2)          # V/m and V/sqrt(m):  24.22 kV/cm and 6.08 kV/sqrt(cm)
DENSITY_FACTORS = ((0.70, 0.72), (0.75, 0.77), (0.80, 0.82), (0.85, 0.86), (0.90, 0.91), (0.95, 0.95), (1.00, 1.00), (1.05, 1.05),
                   (1.10, 1.09), (1.15, 1.12))
DRY_HUMIDITY, DAMP_HUMIDITY, DAMP_GAIN = (
    8.0,
    15.0,
    0.025,
)  # g/m^3, g/m^3 and the gain between them: the middle of the 2 to 3 % that are read


def pressure_at(altitude: float) -> float:
    """Air pressure in pascal at an altitude in metres:  p = 101325 (1 - 2.25577e-5 h)^5.25588.

    Source: standard atmosphere, ISO 2533 / US 1976, up to 11 km (from memory).  Caution: weather moves it by some per cent; a barometer
    is better.
    """
    return ATMOSPHERE * (1 - 2.25577e-5 * altitude) ** 5.25588


def air_density(pressure: float, temperature: float) -> float:
    """Relative air density:  delta = (p / 101325 Pa) (293 K / T);  pascal, kelvin.

    Source: a note of 1998 on spark-gap corrections, with 273 + T in Celsius (read).
    """
    return pressure / ATMOSPHERE * ROOM_TEMPERATURE / temperature


def density_factor(density: float) -> float:
    """Factor k of a sphere gap's voltage at a relative air density of 0.70 to 1.15, straight between the table's rows.

    Source: a note of 1998 on spark-gap corrections (read); it has the form of the IEC 60052 table.
    Raises ValueError outside the table, with the limits.
    """
    if not DENSITY_FACTORS[0][0] <= density <= DENSITY_FACTORS[-1][0]:
        raise ValueError(f"relative air density {density:.3g} is outside the table, {DENSITY_FACTORS[0][0]} to {DENSITY_FACTORS[-1][0]}")
    upper = min(bisect_right([row[0] for row in DENSITY_FACTORS], density), len(DENSITY_FACTORS) - 1)
    (d0, k0), (d1, k1) = DENSITY_FACTORS[upper - 1:upper + 1]
    return k0 + (k1 - k0) * (density - d0) / (d1 - d0)


def absolute_humidity(relative_humidity: float, temperature: float) -> float:
    """Water in the air in g/m^3 from a relative humidity (0 to 1) and a temperature in kelvin.

        e = 611.2 Pa exp(17.62 t / (243.12 + t)) RH,  t in Celsius;   h = e M / (R T),  M / R = 2.1667 g K/J

    Source: Magnus formula with the constants of Sonntag (1990) (from memory).
    """
    celsius = temperature - 273.15
    return 2.1667 * relative_humidity * 611.2 * math.exp(17.62 * celsius / (243.12 + celsius)) / temperature


def humidity_factor(humidity: float) -> float:
    """Factor of a gap's voltage in air that holds `humidity` g/m^3: 1 up to 8, 1.025 from 15 on, straight between.

    Source: a note of 1998 on spark-gap corrections, 2 to 3 % from 8 to 15 g/m^3 (read); the straight line is common practice, no source.
    """
    return 1 + DAMP_GAIN * min(max((humidity - DRY_HUMIDITY) / (DAMP_HUMIDITY - DRY_HUMIDITY), 0.0), 1.0)


def self_break_voltage(distance: float, density: float, humidity: float = 0.0) -> float:
    """Volt at which a gap of `distance` metres breaks by itself:  24.22 delta d + 6.08 sqrt(delta d)  in kV and cm, times humidity.

    density  relative; humidity  g/m^3
    Source: Kuffel, Zaengl, Kuffel, High Voltage Engineering, uniform field (from memory).
    Caution: rough, pitted or sharp electrodes and ultraviolet light lower it, short gaps by up to 20 %; measure it.
    """
    return (SELF_BREAK_SLOPE * density * distance + SELF_BREAK_ROOT * math.sqrt(density * distance)) * humidity_factor(humidity)


def self_break_distance(voltage: float, density: float, humidity: float = 0.0) -> float:
    """Metres of gap that break by themselves at `voltage`: the inverse of `self_break_voltage`, a quadratic in sqrt(delta d)."""
    volts = voltage / humidity_factor(humidity)
    root = (-SELF_BREAK_ROOT + math.sqrt(SELF_BREAK_ROOT**2 + 4 * SELF_BREAK_SLOPE * volts)) / (2 * SELF_BREAK_SLOPE)
    return root**2 / density
