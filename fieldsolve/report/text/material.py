"""Metals as text: the list, the properties of one with their sources, and those that nobody has confirmed."""
from __future__ import annotations

from collections.abc import Iterable, Mapping

from fieldsolve.caution import CAUTION
from fieldsolve.materials import material_data, material_names
from fieldsolve.materials.catalogue import material_from_data
from fieldsolve.materials.data_file import IACS, extrapolation_notes
from fieldsolve.materials.heat_content import heat_content
from fieldsolve.materials.influence import CHANGE, Influence, influence_of
from fieldsolve.screen import NO_BREAK, WIDTH, column_lines, wrapped_lines
from fieldsolve.units import display

HEADINGS = ("metal", "% IACS", "uohm cm", "kg/m^3", "melts, K", "yield, MPa", "also found as")
LIST_NOTE = ("At 293.15 K: conductivity in % of that of annealed copper, resistivity, density; yield stress soft/hard. "
             "Sources: fieldsolve materials NAME; what is only from memory: --unconfirmed.")
UNCONFIRMED = "from-memory"
UNPRINTED_UNITS = {"1": ""}                                   # units that are not printed
VALUE_INDENTS, SOURCE_INDENTS = ("  ", "    "), ("      ", "        ")       # of the first line and of those that go on with it
LABELS = {"youngs_modulus": "Young's modulus", "poissons_ratio": "Poisson's ratio"}


def material_list() -> str:
    """Every metal that comes with the package: a line each, or more where its other names need them."""
    properties = [material_data(name) for name in material_names()]
    numbers = column_lines([HEADINGS[:-1], *map(_list_row, properties)])
    width = max(map(len, numbers)) + 2
    names = [HEADINGS[-1], *(_unbroken_names(metal["aliases"], WIDTH - width) for metal in properties)]
    lines = [line for row, also in zip(numbers, names, strict=True) for line in wrapped_lines(also, f"{row:<{width}}", " " * width)]
    return "\n".join([*lines, *wrapped_lines(LIST_NOTE)])


def _unbroken_names(names: Iterable[str], room: int) -> str:
    """Names in a row, of which no line breaks one that has room in it."""
    return ", ".join(name.replace(" ", NO_BREAK) if len(name) < room else name for name in names)


def _list_row(properties: Mapping) -> list[str]:
    conductivity, solidus, liquidus = (properties[key]["value"] for key in ("conductivity", "solidus", "liquidus"))
    strengths = "/".join(f"{properties[key]['value'] / 1e6:.0f}" if key in properties else "-" for key in ("yield_soft", "yield_hard"))
    return [properties["name"], f"{conductivity / IACS:.3g}", f"{1e8 / conductivity:.4g}", f"{properties['density']['value']:.0f}",
            f"{solidus:.0f}" if solidus == liquidus else f"{solidus:.0f}-{liquidus:.0f}", strengths]


def material_summary(properties: Mapping) -> str:
    """One metal: every number with unit, mark and source, the action integrals, and what is extrapolated beyond its tables."""
    lines = wrapped_lines(f"{properties['name']}{_aliases_text(properties)}")
    lines.append(f"  conductivity {properties['conductivity']['value'] / IACS:.3g} % IACS")
    for key, entry in properties.items():
        if isinstance(entry, dict):
            lines += _entry_lines(f"{_label(key)} = {_value_text(entry)}", f"{entry['mark']}: {entry['source']}")
    notes = [line for note in extrapolation_notes(properties) for line in wrapped_lines(note, *VALUE_INDENTS)]
    return "\n".join([*lines, *_derived_lines(properties), *notes, *wrapped_lines(CAUTION)])


def _entry_lines(value: str, source: str) -> list[str]:
    return [*wrapped_lines(value, *VALUE_INDENTS), *wrapped_lines(source, *SOURCE_INDENTS)]


def _label(key: str) -> str:
    return LABELS.get(key, key.replace("_", " ").replace("zerilli armstrong", "Zerilli-Armstrong"))


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
    return _entry_lines(f"action integral from 293.15 K = {actions}",
                        "computed: density c dT/rho(T), latent heat included, no expansion")


def unconfirmed_summary() -> str:
    """Every number that is known from memory only, a line each, what moves a shot most first; to be looked up at its source."""
    rows = sorted(_unconfirmed_rows(), key=lambda row: -row[0])
    return "\n".join([f"{len(rows)} numbers of {len(material_names())} metals are from memory only: look them up at their source.",
                      *wrapped_lines(f"In brackets what {100 * CHANGE:g} % of the number moves in a shot with coil and blank of the "
                                     "metal: radius of the blank, rise of its temperature, strain of the coil over that which breaks it. "
                                     "The largest first.", rest=""),
                      *(line for _, text in rows for line in wrapped_lines(text, *VALUE_INDENTS))])


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

