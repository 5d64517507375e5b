"""Factors from SI units to those of axes and labels."""
from __future__ import annotations

MM = 1e3                # millimetres in a metre
US = 1e6                # microseconds in a second
KILO = 1e-3             # kiloampere, kilovolt, kilonewton, kilojoule in one of the unit
MICROHENRIES = 1e6      # microhenries in a henry
MEGA = 1e-6             # megawatts in a watt
MEGAPASCALS = 1e-6      # megapascals in a pascal
PER_MM2 = 1e-6          # A/mm^2 in an A/m^2
