"""How stiff, strong and ductile a metal is: the data of the plastic flow law, not the law itself."""
from __future__ import annotations

import math
import numbers
from collections.abc import Mapping
from dataclasses import dataclass, fields, replace

from fieldsolve.errors import InputError

FLOW_KEYS = {                            # FlowStress by the key of a data file, with its unit
    "flow_stress_initial": "Pa", "flow_stress_hardening": "Pa", "flow_stress_exponent": "1", "flow_stress_rate": "1",
    "flow_stress_thermal": "1", "flow_stress_reference_rate": "1/s", "flow_stress_reference_temperature": "K", "flow_stress_melting": "K",
}
MAY_BE_ZERO = ("hardening", "rate")      # no hardening, no dependence on rate
NEAR_STRAIN, FAR_STRAIN = 0.2, 1.0                     # plastic strains at which the law of cold-worked metal meets the annealed metal's
MIN_DUCTILITY = 0.02                             # logarithmic strain that cold-worked metal is still left with; common practice, no source


@dataclass(frozen=True)
class FlowStress:
    """The law of Johnson and Cook for the flow stress of a metal,

        scale (A + B e^n) (1 + C ln(rate/reference rate)) (1 - T*^m),   T* = (T - reference temperature)/(melting - reference temperature)

    initial                A, Pa
    hardening, exponent    B in Pa (0: none), n
    rate                   C (0: none)
    thermal                m
    reference_rate         1/s
    reference_temperature  K
    melting                K, where nothing of it is left
    scale                  pure number, to calibrate the whole law by a measured shot

    Raises InputError where a number is not finite or not larger than 0 (B and C: below 0), n is above 1, or melting is not above the
    reference temperature. Source: G. R. Johnson, W. H. Cook, Proc. 7th Int. Symp. Ballistics, 541 (1983).
    """

    initial: float
    hardening: float
    exponent: float
    rate: float
    thermal: float
    reference_rate: float
    reference_temperature: float
    melting: float
    scale: float = 1.0

    def __post_init__(self):
        for entry in fields(self):
            value = _check_number(f"flow stress: {entry.name}", getattr(self, entry.name), allow_zero=entry.name in MAY_BE_ZERO)
            object.__setattr__(self, entry.name, value)
        if self.exponent > 1:
            raise InputError(f"flow stress: exponent = {self.exponent:g}: must be at most 1, such as 0.31 for copper")
        if self.melting <= self.reference_temperature:
            raise InputError(f"flow stress: melting = {self.melting:g} K must be above reference_temperature = "
                             f"{self.reference_temperature:g} K")


@dataclass(frozen=True)
class Mechanical:
    """What motion asks of a metal.

    density          kg/m^3
    youngs_modulus   Pa
    poissons_ratio   pure number, from 0 to below 0.5
    flow_stress      a `FlowStress`
    ductility        (low, high): logarithmic strains between which a wire under tension breaks
    taylor_quinney   share of plastic work that turns to heat, above 0, at most 1
                     (0.9: G. I. Taylor, H. Quinney, Proc. R. Soc. A 143, 307 (1934); from memory)

    Raises InputError where a number is not finite or out of these bounds.
    """

    density: float
    youngs_modulus: float
    poissons_ratio: float
    flow_stress: FlowStress
    ductility: tuple[float, float]
    taylor_quinney: float = 0.9

    def __post_init__(self):
        for key in ("density", "youngs_modulus", "poissons_ratio", "taylor_quinney"):
            object.__setattr__(self, key, _check_number(key, getattr(self, key), allow_zero=key == "poissons_ratio"))
        if self.poissons_ratio >= 0.5:
            raise InputError(f"poissons_ratio = {self.poissons_ratio:g}: must be below 0.5, such as 0.34 for copper")
        if self.taylor_quinney > 1:
            raise InputError(f"taylor_quinney = {self.taylor_quinney:g}: must be at most 1, such as 0.9")
        if not isinstance(self.flow_stress, FlowStress):
            raise InputError(f"flow_stress = {self.flow_stress!r}: expected a FlowStress(...)")
        object.__setattr__(self, "ductility", _check_ductility(self.ductility))


def mechanical_from_data(data: Mapping) -> Mechanical | None:
    """The mechanical data of a metal's data file, all in SI; None where it has none.

    Raises InputError that names what is missing where it has only some.
    """
    needed = ("youngs_modulus", "poissons_ratio", "ductility", *FLOW_KEYS)
    missing = [key for key in needed if key not in data]
    if len(missing) == len(needed):
        return None
    if missing:
        raise InputError(f"{', '.join(missing)} missing, without which the metal cannot move; give all of {', '.join(needed)}, or none")
    law = FlowStress(**{key.removeprefix("flow_stress_"): data[key]["value"] for key in FLOW_KEYS})
    return Mechanical(density=data["density"]["value"], youngs_modulus=data["youngs_modulus"]["value"],
                      poissons_ratio=data["poissons_ratio"]["value"], flow_stress=law, ductility=tuple(data["ductility"]["value"]))


def with_cold_work(metal: Mechanical, yield_stress: float) -> Mechanical:
    """An annealed metal after cold work that has raised its yield stress, in Pa, at the reference rate and temperature.

    It has been strained by e0, where `A + B e0^n` is the new yield stress. Its law begins there and meets the annealed metal's, shifted
    by e0, at the plastic strains 0.2 and 1; in between it keeps to it within 1 %. e0 is taken off the ductility (common practice,
    no source). Raises InputError where the metal is stronger from the start, or does not harden.
    """
    law = metal.flow_stress
    if not law.hardening or not yield_stress > law.initial:
        raise InputError(f"yield stress {yield_stress / 1e6:g} MPa: must be above the annealed metal's {law.initial / 1e6:g} MPa, and that "
                         "must harden")
    prestrain = ((yield_stress - law.initial) / law.hardening) ** (1 / law.exponent)
    near, far = (law.initial + law.hardening * (prestrain + e) ** law.exponent - yield_stress for e in (NEAR_STRAIN, FAR_STRAIN))
    worked = replace(law, initial=yield_stress, hardening=far, exponent=math.log(far / near) / math.log(FAR_STRAIN / NEAR_STRAIN))
    left = tuple(max(strain - prestrain, MIN_DUCTILITY) for strain in metal.ductility)
    return replace(metal, flow_stress=worked, ductility=left)


def _check_ductility(strains) -> tuple[float, float]:
    try:
        low, high = strains
    except (TypeError, ValueError):
        raise InputError(f"ductility = {strains!r}: expected two logarithmic strains (low, high), such as (0.3, 0.5)") from None
    low, high = _check_number("ductility", low), _check_number("ductility", high)
    if low > high:
        raise InputError(f"ductility = ({low:g}, {high:g}): the first must not be above the second, such as (0.3, 0.5)")
    return low, high


def _check_number(key: str, value, allow_zero: bool = False) -> float:
    """A finite number above 0 (or 0, with `zero`) as a float."""
    if (
        isinstance(value, numbers.Real)
        and not isinstance(value, bool)
        and abs(value) < 1e300
        and (value > 0 or (allow_zero and value == 0))
    ):
        return float(value)
    raise InputError(f"{key} = {value!r}: expected a finite number {'0 or above' if allow_zero else 'larger than 0'}")
