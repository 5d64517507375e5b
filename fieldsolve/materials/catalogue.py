"""The metals that come with the package, found by name, designation or alias, and custom metals from a file or a few numbers."""
from __future__ import annotations

import copy
import functools
import math
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

from fieldsolve.errors import InputError
from fieldsolve.materials.bh_curve import BHCurve, BHTable, Frohlich
from fieldsolve.materials.data_file import BASE_METALS, check_material_data, read_material_data, with_defaults
from fieldsolve.materials.material import Material
from fieldsolve.materials.mechanical import mechanical_from_data, with_cold_work
from fieldsolve.materials.shipped_data import all_material_data, find_material_data
from fieldsolve.materials.thermal import thermal_from_data
from geometries.keywords import known_keywords

TEMPERS = ("soft", "hard")


@known_keywords
def material(name: str, *, relative_permeability: float | None = None, temper: str | None = None,
             flow_stress_law: str | None = None) -> Material:
    """The metal called `name`, at 293.15 K.

    Parameters
    ----------
    name : str
        Name or alias, upper or lower case; see `material_names`.
    relative_permeability : float, optional
        Pure number, in place of a magnetic metal's curve.
    temper : {'soft', 'hard'}, optional
        'soft': annealed.  'hard': cold-worked to the yield stress of the hard temper.  By default as the data file says, mostly
        annealed.  The conductivity stays as it is: cold work takes off a few percent, so measure it.
    flow_stress_law : {'johnson-cook', 'zerilli-armstrong'}, optional
        By default that of the data file, mostly Johnson and Cook's.

    Returns
    -------
    Material
        Its numbers and their sources are in `material_data(name)`.

    Raises
    ------
    InputError
        For an unknown name (the nearest are offered), for a temper where only one is known, and for a law whose numbers are not known.

    Examples
    --------
    >>> material("Copper").conductivity
    58000000.0
    >>> material("copper", flow_stress_law="zerilli-armstrong").mechanical.flow_stress.thermal_hardening
    890000000.0
    """
    metal = _load_material(find_material_data(name)["name"], flow_stress_law)
    if temper is not None:
        metal = _with_temper(metal, temper)
    return metal if relative_permeability is None else _linear_material(metal, relative_permeability)


def material_names() -> list[str]:
    """Names of the metals that come with the package, without their aliases.

    Returns
    -------
    list of str

    Examples
    --------
    >>> "copper" in material_names()
    True
    """
    return sorted({data["name"] for data in all_material_data().values()})


def material_data(name: str) -> dict:
    """Everything in the data file of a metal.

    Parameters
    ----------
    name : str
        Name or alias, as for `material`.

    Returns
    -------
    dict
        Each number by its key as a dictionary with `value`, `unit` (SI), `source`, `mark` and, where useful, `temperature` (K).  A
        table has lists of one length as `value` and `temperature`.  The mark says how the number is known: 'read', 'from-memory'
        (unconfirmed), 'computed', 'common-practice', ...

    Raises
    ------
    InputError
        For an unknown name.

    Examples
    --------
    >>> material_data("copper")["density"]["value"]
    8940.0
    """
    return copy.deepcopy(find_material_data(name))


def read_material(path: str | Path, *, relative_permeability: float | None = None, flow_stress_law: str | None = None) -> Material:
    """A custom metal from a TOML file with the keys of the package's data files, each number with unit, source and mark.

    Parameters
    ----------
    path : str or Path
        Of the file.  Needed are `name` and `conductivity`, for heat also `density` and `solidus`, for motion also `yield_soft` or
        `yield_hard`.  What is missing of the rest is taken from copper or aluminium, whichever is nearer in density.
    relative_permeability : float, optional
        Pure number, in place of a magnetic metal's curve.
    flow_stress_law : {'johnson-cook', 'zerilli-armstrong'}, optional
        By default the file's `flow_stress_law`, or else Johnson and Cook's.

    Returns
    -------
    Material
        What was taken from another metal is named in its `assumed`.

    Raises
    ------
    InputError
        For a file that cannot be read, an unknown key, a number without unit, source or mark or out of bounds, and where something
        is missing; the message names file, key, value and remedy.

    Examples
    --------
    >>> from fieldsolve.materials.shipped_data import DATA
    >>> read_material(DATA / "copper.toml").conductivity > 5e7
    True
    """
    data = custom_material_data(path)
    metal = material_from_data(data, flow_stress_law)
    return metal if relative_permeability is None else _linear_material(metal, relative_permeability)


def custom_material_data(path: str | Path) -> dict:
    """Everything known of the metal in a file, defaults included, as `material_data` gives it."""
    return _with_defaults(read_material_data(path))


@known_keywords
def alloy(name: str, *, iacs: float, density: float, melting: tuple[float, float], yield_stress: float) -> Material:
    """An alloy of which only four things are known.

    Parameters
    ----------
    name : str
        For messages and reports.
    iacs : float
        Conductivity at 293.15 K in percent of the annealed copper standard.
    density : float
        kg/m^3.
    melting : tuple of float
        (solidus, liquidus) in K.
    yield_stress : float
        Pa, at a slow rate and room temperature.

    Returns
    -------
    Material
        All else is a default, named in its `assumed`.

    Raises
    ------
    InputError
        Where a number is missing or out of the bounds of metals.

    Examples
    --------
    >>> "heat_capacity" in alloy("coin alloy", iacs=16.5, density=8000.0, melting=(1283.0, 1313.0), yield_stress=150e6).assumed
    True
    """
    try:
        solidus, liquidus = melting
    except (TypeError, ValueError):
        raise InputError(f"{name}: melting = {melting!r}: expected (solidus, liquidus) in K, such as (1283.0, 1313.0)") from None
    known_keys = {"conductivity": (iacs, "% IACS"), "density": (density, "kg/m^3"), "solidus": (solidus, "K"), "liquidus": (liquidus, "K"),
                  "yield_soft": (yield_stress, "Pa")}
    entries = {key: {"value": value, "unit": unit, "source": "by the caller", "mark": "given"} for key, (value, unit) in known_keys.items()}
    return material_from_data(_with_defaults(check_material_data({"name": name, **entries}, name)))


def measured_disc(metal: Material, resistance: float, thickness: float) -> Material:
    """The metal with the conductivity of a real disc, from four contacts at its rim a quarter turn apart.

    Parameters
    ----------
    metal : Material
        What the disc is made of; all but the conductivity stays.
    resistance : float
        R in ohm: voltage between two neighbouring contacts over the current between the other two, at 293.15 K.
    thickness : float
        m.

    Returns
    -------
    Material

    Raises
    ------
    InputError
        Where one of them is not a finite number larger than 0, and where no metal conducts so.

    Notes
    -----
    ``rho = pi thickness R / ln 2``.  Source: L. J. van der Pauw, Philips Res. Rep. 13, 1 (1958).

    Examples
    --------
    >>> f"{measured_disc(material('copper'), 1.9e-6, 2e-3).conductivity / 1e6:.1f} MS/m"
    '58.1 MS/m'
    """
    for key, value in (("resistance", resistance), ("thickness", thickness)):
        if isinstance(value, bool) or not isinstance(value, (int, float)) or not 0 < value < math.inf:
            raise InputError(f"{metal.name}: measured {key} = {value!r}: expected a finite number larger than 0")
    conductivity = math.log(2) / (math.pi * thickness * resistance)
    entry = {"value": conductivity, "unit": "S/m", "source": "measured on the disc", "mark": "measured"}
    check_material_data({"name": metal.name, "conductivity": entry}, f"{metal.name}, measured resistance {resistance:g} ohm")
    return replace(metal, conductivity=conductivity)


@functools.cache
def _load_material(name: str, flow_stress_law: str | None) -> Material:
    return material_from_data(find_material_data(name), flow_stress_law)


def material_from_data(data: Mapping, flow_stress_law: str | None = None) -> Material:
    """The metal of a full data file, as `material_data` and `custom_material_data` give it."""
    metal = Material(name=data["name"], conductivity=data["conductivity"]["value"], bh_curve=_bh_curve_from_data(data),
                     curie=data["curie"]["value"] if "curie" in data else None)
    if "solidus" in data:
        try:
            metal = replace(metal, density=data["density"]["value"], thermal=thermal_from_data(data),
                            mechanical=mechanical_from_data(data, flow_stress_law))
        except InputError as error:
            raise InputError(f"{data['name']}: {error}") from error
    elif flow_stress_law is not None:
        raise InputError(f"{data['name']}: flow_stress_law = {flow_stress_law!r}: its mechanical data are not known; leave it out")
    assumed = tuple(key for key, entry in data.items() if isinstance(entry, dict) and entry["source"].startswith("no source: default"))
    return replace(metal, assumed=assumed)


def _linear_material(metal: Material, relative_permeability: float) -> Material:
    return replace(metal, relative_permeability=relative_permeability, bh_curve=None, curie=None)


def _bh_curve_from_data(data: Mapping) -> BHCurve | None:
    """The curve of a table, or Froehlich's law; None for what is not magnetic."""
    if "flux_density" in data:
        return BHTable(tuple(data["flux_density"]["field"]), tuple(data["flux_density"]["value"]))
    known_keys = [key for key in ("saturation", "initial_permeability") if key in data]
    if len(known_keys) == 1:
        raise InputError(
            f"{data['name']}: {known_keys[0]} alone makes no magnetization curve; give saturation and initial_permeability, or a "
            "table flux_density"
        )
    return Frohlich(*(data[key]["value"] for key in known_keys)) if known_keys else None


def _with_defaults(data: dict) -> dict:
    return with_defaults(data, {name: find_material_data(name) for name in BASE_METALS})


def _with_temper(metal: Material, temper: str) -> Material:
    if temper not in TEMPERS:
        raise InputError(f"{metal.name}: temper = {temper!r}: expected 'soft' or 'hard'")
    data = find_material_data(metal.name)
    if metal.mechanical is None or data["temper"] != "annealed" or "yield_hard" not in data:
        raise InputError(f"{metal.name}: temper = {temper!r}: its flow stress is known in one temper only, {data['temper']}; leave temper "
                         "out, or give mechanical=")
    return metal if temper == "soft" else replace(metal, mechanical=with_cold_work(metal.mechanical, data["yield_hard"]["value"]))
