"""The flow stress of Johnson and Cook, and the plastic strain that brings a stress back to it."""
from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields

import numpy as np

from fieldsolve.errors import SolveError

STRAIN_FLOOR = 1e-6        # plastic strain below which hardening is a straight line, so that its slope stays finite
MOLTEN_FLOOR = 0.01        # of A: flow stress left to molten metal
TOLERANCE = 1e-8         # of the largest initial flow stress: last change of the iteration, which doubles its digits each time
ROUNDING = 1e-14           # of the largest trial stress
ITERATIONS = 40


@dataclass(frozen=True, eq=False)
class FlowStressArrays:
    """The law's numbers for many cells, each of shape (cells,):

        Y = scale (A + B h(e)) (1 + C ln max(e'/e'0, 1)) (1 - T*^m),    T* = (T - T0)/(T_m - T0) between 0 and 1
        h(e) = e^n,    below the strain floor e_0 the straight line e e_0^(n-1)

    initial A and hardening B in Pa, exponent n, rate C, thermal m, reference_rate e'0 in 1/s, reference_temperature T0 and melting
    T_m in K. Y never falls below 1 % of A.
    Source: G. R. Johnson, W. H. Cook, Proc. 7th Int. Symp. on Ballistics, The Hague, 541 (1983).
    """

    initial: np.ndarray
    hardening: np.ndarray
    exponent: np.ndarray
    rate: np.ndarray
    thermal: np.ndarray
    reference_rate: np.ndarray
    reference_temperature: np.ndarray
    melting: np.ndarray


def flow_stress_arrays(laws: Sequence, zone: np.ndarray) -> FlowStressArrays:
    """The numbers of every cell from the law of its zone, A and B times the law's scale.

    laws  flow stress of each zone, with the fields named in `Flow` and `scale`
    zone  (cells,) number of the zone
    """
    table = {field.name: np.array([getattr(law, field.name) for law in laws], dtype=float) for field in fields(FlowStressArrays)}
    scale = np.array([law.scale for law in laws], dtype=float)
    table |= {"initial": scale * table["initial"], "hardening": scale * table["hardening"]}
    return FlowStressArrays(**{name: values[zone] for name, values in table.items()})


def thermal_softening(law: FlowStressArrays, temperature: np.ndarray) -> np.ndarray:
    """The factor `1 - T*^m` at temperatures in K, 0 to 1; shape (cells,)."""
    homologous = (temperature - law.reference_temperature) / (law.melting - law.reference_temperature)
    return 1 - np.clip(homologous, 0.0, 1.0) ** law.thermal


def flow_stress(law: FlowStressArrays, strain: np.ndarray, rate: np.ndarray, temperature: np.ndarray) -> np.ndarray:
    """Flow stress Y in Pa at a plastic strain, its rate in 1/s and a temperature in K; arrays that end in (cells,)."""
    static, _ = _quasi_static_stress(law, strain)
    return np.maximum(thermal_softening(law, temperature), MOLTEN_FLOOR * law.initial / static) * static * _rate_factor(law, rate)


def plastic_strain_increment(
    law: FlowStressArrays,
    trial: np.ndarray,
    stiffness: np.ndarray,
    strain: np.ndarray,
    softening_factor: np.ndarray,
    duration: float,
    guess: np.ndarray,
) -> np.ndarray:
    """The increment d >= 0 of plastic strain in a step, implicit in strain and rate, 0 where the trial stress is below the flow stress:

        trial - stiffness d = Y(strain + d, d/duration)

    Apart from the knee at the reference rate Y is concave in d, so on either side of the knee Newton's iterates, kept on their side,
    approach the root from below and none can run away.

    trial      (..., cells) equivalent stress in Pa, were the step elastic
    stiffness  (cells,) Pa by which plastic strain lowers it: 3 G in a body, E in a hoop
    strain     (..., cells) plastic strain before the step
    soft       (cells,) factor of `softening`
    duration   of the step, s
    guess      (..., cells) where to begin, such as the increment of the step before
    Raises SolveError where the iteration does not end.
    """
    knee = law.reference_rate * duration
    static, _ = _quasi_static_stress(law, strain + knee)
    softening_factor = np.maximum(softening_factor, MOLTEN_FLOOR * law.initial / static)
    above_knee = trial - stiffness * knee > softening_factor * static
    low, high = np.where(above_knee, knee, 0.0), np.where(above_knee, np.inf, knee)
    increment = np.clip(guess, low, high)
    for _ in range(ITERATIONS):
        static, hardening = _quasi_static_stress(law, strain + increment)
        factor = 1 + law.rate * np.log(np.maximum(increment / knee, 1.0))
        slope = softening_factor * (factor * hardening + above_knee * law.rate * static / np.maximum(increment, knee))
        excess = trial - stiffness * increment - softening_factor * factor * static
        following = np.clip(increment + excess / (stiffness + slope), low, high)
        change = np.abs(following - increment) * stiffness
        increment = following
        if change.max(initial=0.0) <= TOLERANCE * law.initial.max(initial=0.0) + ROUNDING * trial.max(initial=0.0):
            return increment
    raise SolveError(f"the return to the flow stress did not end in {ITERATIONS} iterations: largest trial stress {trial.max():g} Pa, "
                     f"last change {change.max():g} Pa; a shorter step may help")


def _quasi_static_stress(law: FlowStressArrays, strain: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """(A + B h(e), its slope by e) in Pa."""
    power = np.maximum(strain, STRAIN_FLOOR) ** (law.exponent - 1)
    return law.initial + law.hardening * power * strain, law.hardening * power * np.where(strain > STRAIN_FLOOR, law.exponent, 1.0)


def _rate_factor(law: FlowStressArrays, rate: np.ndarray) -> np.ndarray:
    return 1 + law.rate * np.log(np.maximum(rate / law.reference_rate, 1.0))
