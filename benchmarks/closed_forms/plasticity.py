"""Metal that swings and flows: a free disc, a rigid-plastic ring, first yield of discs and washers, adiabatic paths of metal."""
from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
from scipy.integrate import quad, solve_ivp
from scipy.optimize import brentq
from scipy.special import j0, j1


def free_disc_root(poissons_ratio) -> float:
    """Smallest x with  x J0(x) = (1 - nu) J1(x):  the slowest radial swing of a free thin disc.

    Source: A. E. H. Love, A Treatise on the Mathematical Theory of Elasticity (1927), art. 314 (e); A. W. Leissa, Vibration of Plates
    (1969).
    """
    return brentq(lambda x: x * j0(x) - (1 - poissons_ratio) * j1(x), 1.0, 3.0, xtol=1e-14)


def free_disc_frequency(radius, youngs_modulus, poissons_ratio, density) -> float:
    """Its frequency in Hz:  omega = x/R sqrt(E/(rho (1 - nu^2)))."""
    sound = math.sqrt(youngs_modulus / (density * (1 - poissons_ratio**2)))
    return free_disc_root(poissons_ratio) / radius * sound / (2 * math.pi)


def disc_yield_pressure(flow_stress) -> float:
    """Pressure in Pa on the rim at which a solid disc, free on its faces, yields, all of it at once:  p = Y.

    Radial and hoop stress are -p everywhere and the axial one 0, so both Tresca's and von Mises' equivalent stress is p.
    Source: R. Hill, The Mathematical Theory of Plasticity (1950).
    """
    return flow_stress


def washer_yield_pressure(flow_stress, hole_over_rim) -> float:
    """Pressure in Pa on the rim at which a washer, free on its faces, first yields, at its bore:  p = Y (1 - k^2)/2.

    At the bore the hoop stress is -2 p/(1 - k^2) and the others are 0 (Lame). Source: the same.
    """
    return flow_stress * (1 - hole_over_rim**2) / 2


@dataclass(frozen=True)
class RigidPlasticRing:
    """A thin ring of constant flow stress under constant pressure on its inner face (outwards, +) or its outer face (inwards, -).

    Its volume V = 2 pi r_0 h_0 L_0 is kept and its ends are free, so height and thickness go with sqrt(r_0/r):

        m v^2/2 = integral of 2 pi r L p dr - Y V |ln(r/r_0)| = 4 pi/3 p L_0 r_0^2 ((r/r_0)^(3/2) - 1) - Y V |ln(r/r_0)|

    radius r_0 of the middle, thickness h_0, height L_0 in m; density kg/m^3; flow_stress Y and pressure p in Pa
    """

    radius: float
    thickness: float
    height: float
    density: float
    flow_stress: float
    pressure: float

    def speed(self, radius) -> float:
        """Speed in m/s, positive, where the middle has come to `radius`."""
        volume, stretch = 2 * math.pi * self.radius * self.thickness * self.height, radius / self.radius
        push = 4 * math.pi / 3 * self.pressure * self.height * self.radius**2 * (stretch**1.5 - 1)
        return math.sqrt(2 * (push - self.flow_stress * volume * abs(math.log(stretch))) / (self.density * volume))

    def time_between(self, first, second) -> float:
        """Seconds from one radius to the next."""
        return abs(quad(lambda radius: 1 / self.speed(radius), first, second, epsrel=1e-12)[0])


@dataclass(frozen=True)
class ConstitutiveLaw:
    """A flow-stress law as two functions, one the inverse of the other.

    stress  flow stress in Pa of (plastic strain, its rate in 1/s, temperature in K)
    rate    plastic strain rate in 1/s of (stress in Pa, plastic strain, temperature in K)
    """

    stress: Callable[[float, float, float], float]
    rate: Callable[[float, float, float], float]


def johnson_cook(setup: Mapping[str, float]) -> ConstitutiveLaw:
    """`Y = (A + B p^n)(1 + C ln(p'/e'_0))(1 - T*^m)`, above the reference rate and temperature.

    setup  A_Pa, B_Pa, n, C, m, reference_rate_per_s, reference_temperature_K, melting_K
    Source: G. R. Johnson, W. H. Cook, Proc. 7th Int. Symp. on Ballistics, The Hague, 541 (1983).
    """
    def static(plastic, kelvin):
        warm = (kelvin - setup["reference_temperature_K"]) / (setup["melting_K"] - setup["reference_temperature_K"])
        return (setup["A_Pa"] + setup["B_Pa"] * plastic ** setup["n"]) * (1 - warm ** setup["m"])

    return ConstitutiveLaw(
        lambda plastic, rate, kelvin: static(plastic, kelvin) * (1 + setup["C"] * math.log(rate / setup["reference_rate_per_s"])),
        lambda stress, plastic, kelvin: setup["reference_rate_per_s"] * math.exp((stress / static(plastic, kelvin) - 1) / setup["C"]),
    )


def zerilli_armstrong(setup: Mapping[str, float]) -> ConstitutiveLaw:
    """`Y = C0 + C5 p^n + (C1 + C2 p^(1/2)) exp(-C3 T + C4 T ln p')`, p' in 1/s.

    setup  C0_Pa, C1_Pa, C2_Pa, C3_per_K, C4_per_K, C5_Pa, n
    Source: F. J. Zerilli, R. W. Armstrong, J. Appl. Phys. 61, 1816 (1987).
    """
    def athermal(plastic):
        return setup["C0_Pa"] + setup["C5_Pa"] * plastic ** setup["n"]

    def barrier(plastic):
        return setup["C1_Pa"] + setup["C2_Pa"] * math.sqrt(plastic)

    def rate(stress, plastic, kelvin):
        exponent = math.log((stress - athermal(plastic)) / barrier(plastic))
        return math.exp((exponent + setup["C3_per_K"] * kelvin) / (setup["C4_per_K"] * kelvin))

    return ConstitutiveLaw(
        lambda plastic, rate, kelvin: athermal(plastic) + barrier(plastic)
        * math.exp(-setup["C3_per_K"] * kelvin + setup["C4_per_K"] * kelvin * math.log(rate)),
        rate,
    )


def adiabatic_path(law: ConstitutiveLaw, shear_modulus, heat_per_kelvin, heat_share, rate, strain, temperature) -> np.ndarray:
    """Equivalent stress (Pa), plastic strain and temperature (K) at the end of a path of given total strain rate.

        s' = 3 G (e' - p'),   p' = rate(s, p, T),   T' = share s p'/heat_per_kelvin

    strain   (first, last) of the plastic strain, were it all plastic; it begins at the flow stress of `rate`
    Integrated by Radau's method to 1e-13.
    """
    def slopes(_, state):
        stress, plastic, kelvin = state
        flowing = law.rate(stress, plastic, kelvin)
        return [3 * shear_modulus * (rate - flowing), flowing, heat_share * stress * flowing / heat_per_kelvin]

    first = law.stress(strain[0], rate, temperature)
    span = (0.0, (strain[1] - strain[0]) / rate)
    return solve_ivp(slopes, span, [first, strain[0], temperature], method="Radau", rtol=1e-13, atol=1e-13).y[:, -1]
