"""How stiff, strong and ductile a metal is."""
from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from fieldsolve.errors import InputError, suggestion
from fieldsolve.materials.flow_stress import DEFAULT_LAW, LAWS, FlowStressLaw
from fieldsolve.materials.number_checks import check_number
from geometries.keywords import known_keywords

ELASTIC_KEYS = ("youngs_modulus", "poissons_ratio", "ductility")       # of a data file
MIN_DUCTILITY = 0.02             # logarithmic strain that cold-worked metal is still left with; common practice, no source


@known_keywords
@dataclass(frozen=True)
class Mechanical:
    """What motion needs to know of a metal.

    Parameters
    ----------
    density : float
        kg/m^3.
    youngs_modulus : float
        Pa.
    poissons_ratio : float
        Pure number, from 0 to below 0.5.
    flow_stress : FlowStressLaw
        `JohnsonCook`, `ZerilliArmstrong` or a law of your own.
    ductility : tuple of float
        (low, high): logarithmic strains between which a wire under tension breaks.
    taylor_quinney : float, optional
        Share of the plastic work that turns into heat, above 0, at most 1.

    Raises
    ------
    InputError
        Where a number is not finite or out of these bounds, or the law lacks something; the message names the field.

    Notes
    -----
    0.9: G. I. Taylor, H. Quinney, Proc. R. Soc. A 143, 307 (1934); from memory.

    Examples
    --------
    >>> from fieldsolve.materials import material
    >>> material("copper").mechanical.ductility
    (0.3, 0.5)
    """

    density: float
    youngs_modulus: float
    poissons_ratio: float
    flow_stress: FlowStressLaw
    ductility: tuple[float, float]
    taylor_quinney: float = 0.9

    def __post_init__(self):
        for key in ("density", "youngs_modulus", "poissons_ratio", "taylor_quinney"):
            object.__setattr__(self, key, check_number(key, getattr(self, key), allow_zero=key == "poissons_ratio"))
        if self.poissons_ratio >= 0.5:
            raise InputError(f"poissons_ratio = {self.poissons_ratio:g}: must be below 0.5, such as 0.34 for copper")
        if self.taylor_quinney > 1:
            raise InputError(f"taylor_quinney = {self.taylor_quinney:g}: must be at most 1, such as 0.9")
        if not isinstance(self.flow_stress, FlowStressLaw):
            raise InputError(f"flow_stress = {self.flow_stress!r}: expected a flow-stress law, such as JohnsonCook(...) or "
                             "ZerilliArmstrong(...)")
        object.__setattr__(self, "ductility", _check_ductility(self.ductility))


def mechanical_from_data(data: Mapping, law_name: str | None = None) -> Mechanical | None:
    """The mechanical data of a metal's data file, all in SI; None where it has none.

    law_name  of the flow stress; None: that of the data file
    Raises InputError that names what is missing where it has only some.
    """
    law = find_law(law_name or law_name_of(data))
    needed = (*ELASTIC_KEYS, *(key for key, entry in law.data_keys.items() if entry.default != "law"))
    missing = [key for key in needed if key not in data]
    if len(missing) == len(needed) and law_name is None:
        return None
    if missing:
        raise InputError(f"{', '.join(missing)} missing, without which the metal cannot move by the law {law.data_name!r}; give all of "
                         f"{', '.join(needed)}, or none")
    flow_stress = law(**{entry.field: data[key]["value"] for key, entry in law.data_keys.items() if key in data})
    return Mechanical(density=data["density"]["value"], youngs_modulus=data["youngs_modulus"]["value"],
                      poissons_ratio=data["poissons_ratio"]["value"], flow_stress=flow_stress, ductility=tuple(data["ductility"]["value"]))


def law_name_of(data: Mapping) -> str:
    """Name of the flow-stress law of a data file."""
    return data.get("flow_stress_law", DEFAULT_LAW)


def find_law(name: str, where: str = "") -> type[FlowStressLaw]:
    """The flow-stress law of that name.  Raises InputError for an unknown one, with the nearest and, before it, `where`."""
    if name not in LAWS:
        raise InputError(f"{where}flow_stress_law = {name!r}: not known; {suggestion(str(name), LAWS)}")
    return LAWS[name]


def with_cold_work(metal: Mechanical, yield_stress: float) -> Mechanical:
    """An annealed metal after cold work that has raised its yield stress, in Pa, at a slow rate and room temperature.

    The strain that it took is taken off the ductility (common practice, no source).  Raises InputError where no cold work leads there.
    """
    law, prestrain = metal.flow_stress.cold_worked(yield_stress)
    left = tuple(max(strain - prestrain, MIN_DUCTILITY) for strain in metal.ductility)
    return replace(metal, flow_stress=law, ductility=left)


def _check_ductility(strains) -> tuple[float, float]:
    try:
        low, high = strains
    except (TypeError, ValueError):
        raise InputError(f"ductility = {strains!r}: expected two logarithmic strains (low, high), such as (0.3, 0.5)") from None
    low, high = check_number("ductility", low), check_number("ductility", high)
    if low > high:
        raise InputError(f"ductility = ({low:g}, {high:g}): the first must not be above the second, such as (0.3, 0.5)")
    return low, high
