"""Hardening by a power of the plastic strain, with a finite slope where there is none yet."""
from __future__ import annotations

import numpy as np

from fieldsolve.materials.flow_stress.contract import Numbers

STRAIN_FLOOR = 1e-6        # plastic strain e_0 below which hardening is a straight line, so that its slope stays finite


def power_hardening(coefficient: Numbers, exponent: Numbers, strain: Numbers) -> tuple[Numbers, Numbers]:
    """Stress `B e^n` in Pa and its slope by e; below e_0 the straight line `B e e_0^(n-1)`.

    coefficient B in Pa, exponent n; strain (..., cells), and so the results
    """
    power = coefficient * np.maximum(strain, STRAIN_FLOOR) ** (exponent - 1)
    if np.min(strain, initial=np.inf) > STRAIN_FLOOR:
        return power * strain, power * exponent
    return power * strain, power * np.where(strain > STRAIN_FLOOR, exponent, 1.0)
