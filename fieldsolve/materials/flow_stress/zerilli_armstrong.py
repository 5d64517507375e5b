"""The flow stress of Zerilli and Armstrong, from the motion of dislocations, for face- and body-centred cubic metals."""
from __future__ import annotations

import math
from dataclasses import dataclass, fields, replace
from typing import ClassVar

import numpy as np

from fieldsolve.errors import InputError
from fieldsolve.materials.flow_stress.contract import DataKey, Numbers
from fieldsolve.materials.flow_stress.power_law import power_hardening
from fieldsolve.materials.number_checks import check_number
from fieldsolve.materials.thermal import ROOM_TEMPERATURE
from geometries.keywords import known_keywords

MAY_BE_ZERO = ("thermal", "thermal_hardening", "athermal_hardening", "softening", "rate_sensitivity", "prestrain")
MAX_PRESTRAIN = 10.0        # plastic strain beyond which cold work is not looked for


@known_keywords
@dataclass(frozen=True)
class ZerilliArmstrong:
    """Flow stress by the law of Zerilli and Armstrong, a sum of an athermal and a thermally activated part.

    Parameters
    ----------
    athermal : float
        C0, Pa: solutes, dislocations of the annealed metal and grain boundaries (that part goes with grain size to the power -1/2).
    softening : float
        C3, 1/K.
    rate_sensitivity : float
        C4, 1/K, for rates in 1/s.
    melting : float
        K, from which on nothing of the flow stress is left.  The published law has no such end.
    thermal : float, optional
        C1, Pa, of body-centred cubic metals.
    thermal_hardening : float, optional
        C2, Pa, of face-centred cubic metals.
    athermal_hardening, exponent : float, optional
        C5 in Pa and n (at most 1), of body-centred cubic metals.
    quasi_static_rate : float, optional
        e'_0 in 1/s, below which the rate does not matter.
    prestrain : float, optional
        e0, the plastic strain of cold work.
    scale : float, optional
        Pure number that multiplies the law, to calibrate it by a measured shot.

    Raises
    ------
    InputError
        Where a number is not finite or out of these bounds, where both C1 and C2 are 0, and where `C4 melting` is so large (1, with
        C2 1/2) that the stress would rise faster than the rate.

    Notes
    -----
    ::

        Y = scale (C0 + C5 e^n + (C1 + C2 e^(1/2)) exp(-C3 T + C4 T ln max(e', e'_0))),    e = plastic strain + e0

    Source: F. J. Zerilli, R. W. Armstrong, J. Appl. Phys. 61, 1816 (1987).

    Examples
    --------
    >>> copper = ZerilliArmstrong(athermal=65e6, thermal_hardening=890e6, softening=2.8e-3, rate_sensitivity=1.15e-4, melting=1356.0)
    >>> print(f"{copper.flow_stress(0.1, 1e4, 400.0) / 1e6:.0f} MPa")
    205 MPa
    """

    athermal: Numbers
    softening: Numbers
    rate_sensitivity: Numbers
    melting: Numbers
    thermal: Numbers = 0.0
    thermal_hardening: Numbers = 0.0
    athermal_hardening: Numbers = 0.0
    exponent: Numbers = 1.0
    quasi_static_rate: Numbers = 1e-3
    prestrain: Numbers = 0.0
    scale: Numbers = 1.0

    data_name: ClassVar[str] = "zerilli-armstrong"
    data_keys: ClassVar[dict[str, DataKey]] = {
        "zerilli_armstrong_athermal": DataKey("athermal", "Pa", 1e5, 5e9),
        "zerilli_armstrong_softening": DataKey("softening", "1/K", 0.0, 0.1),
        "zerilli_armstrong_rate_sensitivity": DataKey("rate_sensitivity", "1/K", 0.0, 0.01),
        "zerilli_armstrong_melting": DataKey("melting", "K", ROOM_TEMPERATURE, 5e3, "solidus"),
        "zerilli_armstrong_thermal": DataKey("thermal", "Pa", 0.0, 1e10, "law"),
        "zerilli_armstrong_thermal_hardening": DataKey("thermal_hardening", "Pa", 0.0, 1e10, "law"),
        "zerilli_armstrong_athermal_hardening": DataKey("athermal_hardening", "Pa", 0.0, 1e10, "law"),
        "zerilli_armstrong_exponent": DataKey("exponent", "1", 0.01, 1.0, "law"),
        "zerilli_armstrong_quasi_static_rate": DataKey("quasi_static_rate", "1/s", 1e-6, 1e6, "law"),
    }

    def __post_init__(self):
        for entry in fields(self):
            value = check_number(f"flow stress: {entry.name}", getattr(self, entry.name), allow_zero=entry.name in MAY_BE_ZERO)
            object.__setattr__(self, entry.name, value)
        if np.max(self.exponent) > 1:
            raise InputError(f"flow stress: exponent = {np.max(self.exponent):g}: must be at most 1, such as 0.289 for iron")
        if np.any((self.thermal == 0) & (self.thermal_hardening == 0)):
            raise InputError("flow stress: thermal = thermal_hardening = 0: give thermal= (C1) for a body-centred or thermal_hardening= "
                             "(C2) for a face-centred cubic metal")
        power, limit = self.rate_sensitivity * self.melting, np.where(self.thermal_hardening > 0, 0.5, 1.0)
        if np.any(power > limit):
            raise InputError(f"flow stress: rate_sensitivity times melting = {np.max(power):g}: must be at most {np.min(limit):g}, above "
                             "which the stress rises faster than the rate; rate_sensitivity is in 1/K, such as 1.15e-4 for copper")

    @property
    def initial_stress(self) -> Numbers:
        """scale (C0 + C1 exp(-C3 T)) in Pa, at 293.15 K and 1/s."""
        return self.scale * (self.athermal + self.thermal * np.exp(-self.softening * ROOM_TEMPERATURE))

    def thermal_softening(self, temperature: Numbers) -> tuple[Numbers, Numbers, Numbers]:
        """(scale, or 0 where the metal is molten; thermal activation at the quasi-static rate; power p of the rate), each (cells,).

        `exp(-C3 T + C4 T ln e') = exp(-C3 T) e'_0^p (e'/e'_0)^p` with `p = C4 T`
        """
        power = self.rate_sensitivity * temperature
        activation = np.exp(-self.softening * temperature + power * np.log(self.quasi_static_rate))
        return np.where(temperature < self.melting, self.scale, 0.0), activation, power

    def quasi_static_stress(self, strain: Numbers, softening: tuple[Numbers, Numbers, Numbers]) -> Numbers:
        """Y in Pa at the quasi-static rate."""
        left, activation, _ = softening
        (athermal, _), (thermal, _) = self._parts(strain)
        return left * (athermal + thermal * activation)

    def stress_along_step(self, strain: Numbers, increment: Numbers, duration: float, softening: tuple[Numbers, Numbers, Numbers],
                          above: np.ndarray | bool) -> tuple[Numbers, Numbers]:
        """Y(e + d, d/duration) in Pa and its derivative by d."""
        left, activation, power = softening
        knee = self.quasi_static_rate * duration
        (athermal, athermal_slope), (thermal, thermal_slope) = self._parts(strain + increment)
        activation = activation * np.maximum(increment / knee, 1.0) ** power
        slope = athermal_slope + activation * (thermal_slope + above * power * thermal / np.maximum(increment, knee))
        return left * (athermal + activation * thermal), left * slope

    def flow_stress(self, strain: Numbers, rate: Numbers, temperature: Numbers) -> Numbers:
        """Y in Pa at a plastic strain, its rate in 1/s and a temperature in K."""
        left, activation, power = self.thermal_softening(temperature)
        activation = activation * np.maximum(np.asarray(rate) / self.quasi_static_rate, 1.0) ** power
        return self.quasi_static_stress(strain, (left, activation, power))

    def cold_worked(self, stress: float) -> tuple[ZerilliArmstrong, float]:
        """The law after cold work to a yield stress in Pa at 293.15 K and 1/s, and the strain that it took.

        The same law of the strain since the metal was annealed.  Raises InputError for a stress that no cold work reaches.
        """
        softening = self.thermal_softening(ROOM_TEMPERATURE)
        softening = softening[0], math.exp(-self.softening * ROOM_TEMPERATURE), softening[2]
        low, high = 0.0, MAX_PRESTRAIN
        if not self.quasi_static_stress(low, softening) < stress < self.quasi_static_stress(high, softening):
            raise InputError(f"yield stress {stress / 1e6:g} MPa: must be above the annealed metal's {self.initial_stress / 1e6:g} MPa and "
                             f"below the {self.quasi_static_stress(high, softening) / 1e6:.4g} MPa at a plastic strain of {high:g}")
        while high - low > 1e-12 * high:                       # bisection
            middle = (low + high) / 2
            low, high = (middle, high) if self.quasi_static_stress(middle, softening) < stress else (low, middle)
        return replace(self, prestrain=self.prestrain + high), high

    def _parts(self, strain: Numbers) -> tuple[tuple[Numbers, Numbers], tuple[Numbers, Numbers]]:
        """(C0 + C5 e^n, its slope by e) and (C1 + C2 e^(1/2), its slope by e) in Pa."""
        strain = strain + self.prestrain
        athermal, athermal_slope = power_hardening(self.athermal_hardening, self.exponent, strain)
        thermal, thermal_slope = power_hardening(self.thermal_hardening, 0.5, strain)
        return (self.athermal + athermal, athermal_slope), (self.thermal + thermal, thermal_slope)
