"""Metals as text: the list, the properties of one with their sources, and those that nobody has confirmed."""
from __future__ import annotations

from collections.abc import Iterable, Mapping

from fieldsolve.caution import CAUTION
from fieldsolve.materials import material_data, material_names
from fieldsolve.materials.catalogue import material_from_data
from fieldsolve.materials.data_file import IACS, extrapolation_notes
from fieldsolve.materials.heat_content import heat_content
from fieldsolve.materials.influence import CHANGE, Influence, influence_of
from fieldsolve.report.text.facts import column_lines
from fieldsolve.units import display

HEADINGS = ("metal", "% IACS", "resistivity", "density", "melts", "yield, soft/hard", "also found as")
UNCONFIRMED = "from-memory"
UNPRINTED_UNITS = {"1": ""}                                   # units that are not printed
LABELS = {"youngs_modulus": "Young's modulus", "poissons_ratio": "Poisson's ratio"}


def material_list() -> str:
    """Every metal that comes with the package: a line each."""
    rows = [HEADINGS, *(_list_row(material_data(name)) for name in material_names())]
    return "\n".join([*column_lines(rows), "At 293.15 K. Sources: fieldsolve materials NAME; what is only from memory: --unconfirmed."])


def _list_row(properties: Mapping) -> list[str]:
    conductivity, solidus, liquidus = (properties[key]["value"] for key in ("conductivity", "solidus", "liquidus"))
    strengths = "/".join(f"{properties[key]['value'] / 1e6:.0f}" if key in properties else "-" for key in ("yield_soft", "yield_hard"))
    melts = f"{solidus:.0f} K" if solidus == liquidus else f"{solidus:.0f}-{liquidus:.0f} K"
    return [
        properties["name"],
        f"{conductivity / IACS:.3g}",
        f"{1e8 / conductivity:.4g} uohm cm",
        f"{properties['density']['value']:.0f} kg/m^3",
        melts,
        f"{strengths} MPa",
        ", ".join(properties["aliases"]),
    ]


def material_summary(properties: Mapping) -> str:
    """One metal: every number with unit, mark and source, the action integrals, and what is extrapolated beyond its tables."""
    lines = [f"{properties['name']}{_aliases_text(properties)}", f"  conductivity {properties['conductivity']['value'] / IACS:.3g} % IACS"]
    for key, entry in properties.items():
        if isinstance(entry, dict):
            lines += [f"  {_label(key)} = {_value_text(entry)}", f"      {entry['mark']}: {entry['source']}"]
    return "\n".join([*lines, *_derived_lines(properties), *(f"  {note}" for note in extrapolation_notes(properties)), CAUTION])


def _label(key: str) -> str:
    return LABELS.get(key, key.replace("_", " "))


def _aliases_text(properties: Mapping) -> str:
    aliases = [*properties.get("aliases", ()), *([f"temper: {properties['temper']}"] if "temper" in properties else ())]
    return f" ({', '.join(aliases)})" if aliases else ""


def _value_text(entry: Mapping) -> str:
    unit, temperature = UNPRINTED_UNITS.get(entry["unit"], entry["unit"]), entry.get("temperature")
    for argument, argument_unit in (("temperature", "K"), ("field", "A/m")):
        if isinstance(entry.get(argument), list):
            points = zip(entry["value"], entry[argument], strict=True)
            return ", ".join(f"{value:.4g} at {x:g} {argument_unit}" for value, x in points) + f" [{unit}]"
    if isinstance(entry["value"], list):
        return " to ".join(f"{value:g}" for value in entry["value"])
    return display(entry["value"], unit, 5) + (f" at {temperature:g} K" if temperature else "")


def _derived_lines(properties: Mapping) -> Iterable[str]:
    """Integral of J^2 dt from room temperature to the steps of melting and boiling, computed from its properties."""
    if "solidus" not in properties:
        return []
    content = heat_content(material_from_data(properties))
    steps = zip(("solidus", "all liquid", "boiling"), (*content.melting_range, content.boiling_range[0]), strict=True)
    actions = ", ".join(f"{content.action(t):.3g} A^2 s/m^4 to {step}" for step, t in steps)
    return [f"  action integral from 293.15 K = {actions}", "      computed: density c dT/rho(T), latent heat included, no expansion"]


def unconfirmed_summary() -> str:
    """Every number that is known from memory only, a line each, what moves a shot most first; to be looked up at its source."""
    rows = sorted(_unconfirmed_rows(), key=lambda row: -row[0])
    return "\n".join([f"{len(rows)} numbers of {len(material_names())} metals are from memory only: look them up at their source.",
                      f"In brackets what {100 * CHANGE:g} % of the number moves in a shot with coil and blank of the metal:",
                      "radius of the blank, rise of its temperature, strain of the coil over that which breaks it. The largest first.",
                      *("  " + text for _, text in rows)])


def _unconfirmed_rows() -> Iterable[tuple[float, str]]:
    for properties in map(material_data, material_names()):
        for key, entry in properties.items():
            if isinstance(entry, dict) and entry["mark"] == UNCONFIRMED:
                influence = influence_of(properties["name"], key)
                start = f"{properties['name']}: {_label(key)}: {_short_value_text(entry)}"
                yield influence.largest if influence else 0.0, f"{start} [{_influence_text(influence)}]: {entry['source']}"


def _influence_text(influence: Influence | None) -> str:
    if influence is None:
        return "not computed"
    changes = influence.radius, influence.temperature, influence.burst
    return ", ".join(f"{100 * change:.1f} %" if change >= 5e-4 else "0" for change in changes)


def _short_value_text(entry: Mapping) -> str:
    """A number, or the ends of its table."""
    if isinstance(entry["value"], list) and len(entry["value"]) > 2:
        return f"{entry['value'][0]:.4g} ... {entry['value'][-1]:.4g} {entry['unit']} ({len(entry['value'])} points)"
    return _value_text(entry)

