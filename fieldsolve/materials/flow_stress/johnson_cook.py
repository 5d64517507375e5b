"""The flow stress of Johnson and Cook."""
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

MAY_BE_ZERO = ("hardening", "rate")      # no hardening, no dependence on rate
NEAR_STRAIN, FAR_STRAIN = 0.2, 1.0       # plastic strains at which the law of cold-worked metal meets the annealed metal's


@known_keywords
@dataclass(frozen=True)
class JohnsonCook:
    """Flow stress by the law of Johnson and Cook, a product of hardening, rate and thermal softening.

    Parameters
    ----------
    initial : float
        A, Pa.
    hardening, exponent : float
        B in Pa (0: none) and n (at most 1).
    rate : float
        C (0: the rate does not matter).
    thermal : float
        m.
    reference_rate : float
        e'_0 in 1/s, below which the rate does not matter.
    reference_temperature : float
        T_0 in K, below which the temperature does not matter.
    melting : float
        T_m in K, from which on nothing of the flow stress is left.
    scale : float, optional
        Pure number that multiplies the law, to calibrate it by a measured shot.

    Raises
    ------
    InputError
        Where a number is not finite or not larger than 0 (B and C: below 0), n is above 1, or T_m is not above T_0.

    Notes
    -----
    ::

        Y = scale (A + B e^n) (1 + C ln max(e'/e'_0, 1)) (1 - T*^m),    T* = (T - T_0)/(T_m - T_0) between 0 and 1

    Source: G. R. Johnson, W. H. Cook, Proc. 7th Int. Symp. on Ballistics, The Hague, 541 (1983).

    Examples
    --------
    >>> copper = JohnsonCook(initial=90e6, hardening=292e6, exponent=0.31, rate=0.025, thermal=1.09, reference_rate=1.0,
    ...                      reference_temperature=293.15, melting=1356.0)
    >>> print(f"{copper.flow_stress(0.1, 1e4, 400.0) / 1e6:.0f} MPa")
    263 MPa
    """

    initial: Numbers
    hardening: Numbers
    exponent: Numbers
    rate: Numbers
    thermal: Numbers
    reference_rate: Numbers
    reference_temperature: Numbers
    melting: Numbers
    scale: Numbers = 1.0

    data_name: ClassVar[str] = "johnson-cook"
    data_keys: ClassVar[dict[str, DataKey]] = {
        "flow_stress_initial": DataKey("initial", "Pa", 1e6, 5e9, "yield stress"),
        "flow_stress_hardening": DataKey("hardening", "Pa", 0.0, 1e10, "base"),
        "flow_stress_exponent": DataKey("exponent", "1", 0.01, 1.0, "base"),
        "flow_stress_rate": DataKey("rate", "1", 0.0, 0.5, "base"),
        "flow_stress_thermal": DataKey("thermal", "1", 0.1, 10.0, "base"),
        "flow_stress_reference_rate": DataKey("reference_rate", "1/s", 1e-6, 1e6, "base"),
        "flow_stress_reference_temperature": DataKey("reference_temperature", "K", 1.0, 1e3, "base"),
        "flow_stress_melting": DataKey("melting", "K", ROOM_TEMPERATURE, 5e3, "solidus"),
    }

    def __post_init__(self):
        for entry in fields(self):
            value = check_number(f"flow stress: {entry.name}", getattr(self, entry.name), allow_zero=entry.name in MAY_BE_ZERO)
            object.__setattr__(self, entry.name, value)
        if np.max(self.exponent) > 1:
            raise InputError(f"flow stress: exponent = {np.max(self.exponent):g}: must be at most 1, such as 0.31 for copper")
        if np.any(self.melting <= self.reference_temperature):
            raise InputError(f"flow stress: melting = {np.min(self.melting):g} K must be above reference_temperature = "
                             f"{np.max(self.reference_temperature):g} K")

    @property
    def initial_stress(self) -> Numbers:
        """scale A in Pa."""
        return self.scale * self.initial

    @property
    def quasi_static_rate(self) -> Numbers:
        """e'_0 in 1/s."""
        return self.reference_rate

    def thermal_softening(self, temperature: Numbers) -> Numbers:
        """`scale (1 - T*^m)` at temperatures in K; shape (cells,)."""
        homologous = (temperature - self.reference_temperature) / (self.melting - self.reference_temperature)
        return self.scale * (1 - np.clip(homologous, 0.0, 1.0) ** self.thermal)

    def quasi_static_stress(self, strain: Numbers, softening: Numbers) -> Numbers:
        """`(A + B e^n) softening` in Pa."""
        return softening * self._hardening(strain)[0]

    def stress_along_step(self, strain: Numbers, increment: Numbers, duration: float, softening: Numbers,
                          above: np.ndarray | bool) -> tuple[Numbers, Numbers]:
        """Y(e + d, d/duration) in Pa and its derivative by d."""
        knee = self.reference_rate * duration
        static, hardening = self._hardening(strain + increment)
        factor = 1 + self.rate * np.log(np.maximum(increment / knee, 1.0))
        slope = softening * (factor * hardening + above * self.rate * static / np.maximum(increment, knee))
        return softening * factor * static, slope

    def flow_stress(self, strain: Numbers, rate: Numbers, temperature: Numbers) -> Numbers:
        """Y in Pa at a plastic strain, its rate in 1/s and a temperature in K."""
        factor = 1 + self.rate * np.log(np.maximum(np.asarray(rate) / self.reference_rate, 1.0))
        return self.quasi_static_stress(strain, self.thermal_softening(temperature)) * factor

    def cold_worked(self, stress: float) -> tuple[JohnsonCook, float]:
        """The law after cold work to a yield stress in Pa, and the strain e0 that it took: `scale (A + B e0^n) = stress`.

        The new law begins at that stress and meets the annealed metal's, shifted by e0, at the plastic strains 0.2 and 1.  In between
        it keeps to it within 1 %.  Raises InputError for a stress not above that of the annealed metal, and for one that does not
        harden.
        """
        stress = stress / self.scale
        if not self.hardening or not stress > self.initial:
            raise InputError(f"yield stress {stress / 1e6:g} MPa: must be above the annealed metal's {self.initial / 1e6:g} MPa, and the "
                             "metal must harden; give the yield stress of the hard temper")
        prestrain = ((stress - self.initial) / self.hardening) ** (1 / self.exponent)
        near, far = (self.initial + self.hardening * (prestrain + e) ** self.exponent - stress for e in (NEAR_STRAIN, FAR_STRAIN))
        exponent = math.log(far / near) / math.log(FAR_STRAIN / NEAR_STRAIN)
        return replace(self, initial=stress, hardening=far, exponent=exponent), prestrain

    def _hardening(self, strain: Numbers) -> tuple[Numbers, Numbers]:
        """(A + B e^n, its slope by e) in Pa."""
        stress, slope = power_hardening(self.hardening, self.exponent, strain)
        return self.initial + stress, slope
