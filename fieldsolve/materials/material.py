"""A metal as field, heat and motion see it."""
from __future__ import annotations

import math
import numbers
from dataclasses import dataclass, field

from fieldsolve.errors import InputError
from fieldsolve.materials.bh_curve import BHCurve
from fieldsolve.materials.mechanical import Mechanical
from fieldsolve.materials.thermal import LINEAR_LAW_END, ROOM_TEMPERATURE, Thermal, check_boiling, check_melting, linear_law
from fieldsolve.renamed import old_attributes, refuse_old_keywords
from geometries.keywords import known_keywords

HEATING_EXAMPLES = {                             # what heating needs of a custom metal, and an example
    "density": "8940.0 (kg/m^3)",
    "heat_capacity": "385.0 (J/(kg K))",
    "temperature_coefficient": "0.00393 (1/K)",
}
OPTIONAL_DATA = ("bh_curve", "curie", "density", "heat_capacity", "thermal", "mechanical")
INLINE_THERMAL_FIELDS = ("heat_capacity", "temperature_coefficient", "melting", "boiling")        # which `thermal` replaces


LARGEST = {"conductivity": 1e20, "relative_permeability": 1e9, "remanence": 100.0}      # in SI; no metal comes near
SMALLEST_PERMEABILITY = 1e-9            # to study a superconductor


@refuse_old_keywords
@known_keywords
@dataclass(frozen=True)
class Material:
    """A metal: linear `B = mu_0 mu_r H + B_rem` or with a B-H curve, Ohm's law `J = sigma E`.

    Parameters
    ----------
    name : str, optional
        For messages and reports.
    conductivity : float
        S/m at 293.15 K, 0 for an insulator.
    relative_permeability : float, optional
        Pure number, larger than 0; 1 for a metal that is not magnetic.
    remanence : float, optional
        Tesla, along +z (negative: along -z).
    bh_curve : BHCurve, optional
        `Frohlich`, `Brauer`, `BHTable` or a curve of your own, in place of the last two; without hysteresis.
    curie : float, optional
        Temperature in K at which a metal with such a curve has lost its magnetism.  By default heating leaves it.
    density : float, optional
        kg/m^3.  This and what follows is needed by heating and motion only.
    heat_capacity : float, optional
        J/(kg K), the same at every temperature, solid and liquid.
    temperature_coefficient : float, optional
        alpha in 1/K of `rho = rho_20 (1 + alpha (T - 293.15 K))`, solid and liquid up to boiling.
    melting : tuple of float, optional
        (solidus in K, liquidus in K, heat of fusion in J/kg).  By default the metal stays solid.
    boiling : tuple of float, optional
        (temperature in K, heat of vaporisation in J/kg).  By default the metal does not boil.
    thermal : Thermal, optional
        In place of the last four: tables, and a jump of resistivity on melting.
    mechanical : Mechanical, optional
        For metal that moves; its density is the metal's.
    assumed : tuple of str, optional
        Names of the numbers that are defaults because nothing better is known.

    Raises
    ------
    InputError
        Where a number is not finite or out of these bounds; the message names metal and field.

    Examples
    --------
    >>> Material(name="test bronze", conductivity=9e6, density=8800.0)
    Material('test bronze', conductivity=9e+06 S/m; with density)
    >>> Material(conductivity=58.0e6).relative_permeability
    1.0
    """

    name: str = "custom metal"
    conductivity: float | None = None
    relative_permeability: float = 1.0
    remanence: float = 0.0
    bh_curve: BHCurve | None = field(default=None, repr=False)
    curie: float | None = field(default=None, repr=False)
    density: float | None = None
    heat_capacity: float | None = None
    temperature_coefficient: float | None = None
    melting: tuple[float, float, float] | None = None
    boiling: tuple[float, float] | None = None
    thermal: Thermal | None = field(default=None, repr=False)
    mechanical: Mechanical | None = field(default=None, repr=False)
    assumed: tuple[str, ...] = field(default=(), repr=False)

    __getattr__ = old_attributes("Material")

    def __post_init__(self):
        if not isinstance(self.name, str) or not self.name.strip():
            raise InputError(f"name = {self.name!r}: expected the material's name, such as 'copper'")
        if self.conductivity is None:
            raise InputError(f"{self.name}: conductivity is missing; give conductivity= in S/m, such as 58.0e6 for copper")
        for key, example in (("conductivity", "58.0e6 (S/m)"), ("relative_permeability", "1.0"), ("remanence", "1.2 (T)")):
            object.__setattr__(self, key, _check_finite(self.name, key, getattr(self, key), example))
        for key, largest in LARGEST.items():
            if abs(getattr(self, key)) > largest:
                raise InputError(f"{self.name}: {key} = {getattr(self, key):g}: above {largest:g}, beyond every metal; check the unit")
        if self.conductivity < 0:
            raise InputError(f"{self.name}: conductivity = {self.conductivity:g} S/m: must be 0 or more; give 0 for an insulator")
        if self.relative_permeability <= SMALLEST_PERMEABILITY:
            raise InputError(f"{self.name}: relative_permeability = {self.relative_permeability:g}: must be larger than 0; "
                             "give 1 for a metal that is not magnetic")
        _check_bh_curve(self)
        _check_heat(self)
        _check_mechanical(self)

    def __repr__(self) -> str:
        """Name, conductivity, and what else is known of the metal."""
        known = [key for key in OPTIONAL_DATA if getattr(self, key) is not None]
        changed = [f"{key}={getattr(self, key):g}" for key, default in (("relative_permeability", 1), ("remanence", 0))
                   if getattr(self, key) != default]
        return f"Material({', '.join([repr(self.name), f'conductivity={self.conductivity:g} S/m', *changed])}" \
               + (f"; with {', '.join(known)})" if known else ")")

    @property
    def is_magnetic(self) -> bool:
        """Whether its B differs from mu_0 H."""
        return self.relative_permeability != 1 or self.remanence != 0 or self.bh_curve is not None


def _check_bh_curve(metal: Material) -> None:
    if metal.curie is not None:
        object.__setattr__(metal, "curie", _check_finite(metal.name, "curie", metal.curie, "1043.0 (K)"))
        if metal.curie <= ROOM_TEMPERATURE:
            raise InputError(
                f"{metal.name}: curie = {metal.curie:g} K: must be above {ROOM_TEMPERATURE} K, where the curve holds; a metal that has "
                "lost its magnetism by then takes no bh_curve"
            )
    if metal.bh_curve is None:
        return
    if not isinstance(metal.bh_curve, BHCurve):
        raise InputError(f"{metal.name}: bh_curve = {metal.bh_curve!r}: expected a Frohlich(...), Brauer(...) or BHTable(...)")
    if metal.relative_permeability != 1 or metal.remanence:
        raise InputError(f"{metal.name}: relative_permeability or remanence and bh_curve= exclude each other; give one of them")


def _check_mechanical(metal: Material) -> None:
    """Refuse mechanical data of another density; a metal without density takes theirs."""
    if metal.mechanical is None:
        return
    if not isinstance(metal.mechanical, Mechanical):
        raise InputError(f"{metal.name}: mechanical = {metal.mechanical!r}: expected a Mechanical(...)")
    if metal.density is None:
        object.__setattr__(metal, "density", metal.mechanical.density)
    if metal.density != metal.mechanical.density:
        raise InputError(f"{metal.name}: density = {metal.density:g} kg/m^3, but {metal.mechanical.density:g} kg/m^3 in mechanical=: "
                         "give both the same, or only the one in mechanical=")


def _check_heat(metal: Material) -> None:
    """Make floats of the numbers that heating needs, and refuse impossible ones."""
    for key, example in HEATING_EXAMPLES.items():
        if getattr(metal, key) is None:
            continue
        value = _check_finite(metal.name, key, getattr(metal, key), example)
        if value < 0 or (value == 0 and key != "temperature_coefficient"):
            raise InputError(f"{metal.name}: {key} = {value:g}: must be larger than 0, such as {example}"
                             + ("; a falling resistivity takes thermal=Thermal(...)" if key == "temperature_coefficient" else ""))
        object.__setattr__(metal, key, value)
    try:
        object.__setattr__(metal, "melting", check_melting(metal.melting))
        object.__setattr__(metal, "boiling", check_boiling(metal.boiling, metal.melting))
    except InputError as error:
        raise InputError(f"{metal.name}: {error}") from error
    duplicated = [key for key in INLINE_THERMAL_FIELDS if getattr(metal, key) is not None]
    if metal.thermal is not None and not isinstance(metal.thermal, Thermal):
        raise InputError(f"{metal.name}: thermal = {metal.thermal!r}: expected a Thermal(...)")
    if metal.thermal is not None and duplicated:
        raise InputError(f"{metal.name}: {', '.join(duplicated)} and thermal= exclude each other; give one of them, "
                         "or thermal=dataclasses.replace(material.thermal, ...)")


def thermal_data(metal: Material) -> Thermal:
    """The thermal data of a metal that is to be heated.

    Raises InputError that names what is missing, and where resistivity would not stay positive.
    """
    needed = {"density": metal.density}
    if metal.thermal is None:
        needed["heat_capacity"] = metal.heat_capacity
        needed["temperature_coefficient"] = 0.0 if metal.conductivity == 0 else metal.temperature_coefficient
    missing = [key for key, value in needed.items() if value is None]
    if missing:
        examples = ", ".join(f"{key}={HEATING_EXAMPLES[key]}" for key in missing)
        raise InputError(f"{metal.name}: {', '.join(missing)} missing, without which it cannot be heated; give {examples}, "
                         "or compute without heating")
    thermal = metal.thermal or _thermal_from_constants(metal)
    if metal.conductivity > 0:
        if not thermal.resistivity_rise:
            raise InputError(f"{metal.name}: resistivity_rise has no points; give at least ({ROOM_TEMPERATURE}, 0.0) for a conductor")
        least = min(rise for _, rise in thermal.resistivity_rise)
        if 1 / metal.conductivity + least <= 0:
            raise InputError(
                f"{metal.name}: resistivity_rise falls to {least:g} ohm m, as low as the metal's own resistivity at {ROOM_TEMPERATURE} K, "
                f"{1 / metal.conductivity:g} ohm m: together they must stay positive"
            )
    return thermal


def _thermal_from_constants(metal: Material) -> Thermal:
    end = metal.boiling[0] if metal.boiling else LINEAR_LAW_END
    rise = linear_law(metal.conductivity, metal.temperature_coefficient or 0.0, end)
    return Thermal(
        heat_capacity=((ROOM_TEMPERATURE, metal.heat_capacity),), resistivity_rise=rise, melting=metal.melting, boiling=metal.boiling
    )


def _check_finite(name: str, key: str, value, example: str) -> float:
    try:
        if isinstance(value, numbers.Real) and not isinstance(value, bool) and math.isfinite(value):
            return float(value)
    except OverflowError:                # an int too large for a float
        pass
    raise InputError(f"{name}: {key} = {value!r}: expected a finite number, such as {example}")
