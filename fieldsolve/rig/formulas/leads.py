"""Leads between bank and coil: what pushes them apart.

Their inductance is in `fieldsolve.circuit.bank`: `plate_inductance`, `wire_inductance`.
"""
from __future__ import annotations

import math

from fieldsolve.constants import MU_0


def wire_force(current: float, spacing: float) -> float:
    """Force in N/m between two long parallel wires:  mu_0 I^2 / (2 pi d);  ampere, metres between centres.

    Source: textbook, Ampere's law (computed).  Caution: leads whip; an open loop is pushed wider.
    """
    return MU_0 * current**2 / (2 * math.pi * spacing)


def plate_force(current: float, width: float) -> float:
    """Force in N per metre of length between two wide parallel plates:  mu_0 I^2 / (2 w);  ampere, metres.

    Source: textbook, the pressure mu_0 (I/w)^2 / 2 of the field between them (computed).
    """
    return MU_0 * current**2 / (2 * width)
