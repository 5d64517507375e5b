"""Metals as text: the list, one metal's sheet with its sources, and what nobody has confirmed."""
from __future__ import annotations

from collections.abc import Iterable, Mapping

from fieldsolve.materials import material_names, material_sheet
from fieldsolve.materials.catalogue import metal_of_sheet
from fieldsolve.materials.data_file import IACS, beyond_the_table
from fieldsolve.materials.heat_content import heat_content
from fieldsolve.report.text.facts import CAUTION, columns
from fieldsolve.units import display

HEADINGS = ("metal", "% IACS", "resistivity", "density", "melts", "yield, soft/hard", "also found as")
UNCONFIRMED = "from-memory"
PLAIN_UNIT = {"1": ""}                                   # units that are not printed
WORDS = {"youngs_modulus": "Young's modulus", "poissons_ratio": "Poisson's ratio"}


def material_list() -> str:
    """Every metal that comes with the package: a line each."""
    rows = [HEADINGS, *(_list_row(material_sheet(name)) for name in material_names())]
    return "\n".join([*columns(rows), "At 293.15 K. Sources: fieldsolve materials NAME; what is only from memory: --unconfirmed."])


def _list_row(sheet: Mapping) -> list[str]:
    conductivity, solidus, liquidus = (sheet[key]["value"] for key in ("conductivity", "solidus", "liquidus"))
    strengths = "/".join(f"{sheet[key]['value'] / 1e6:.0f}" if key in sheet else "-" for key in ("yield_soft", "yield_hard"))
    melts = f"{solidus:.0f} K" if solidus == liquidus else f"{solidus:.0f}-{liquidus:.0f} K"
    return [sheet["name"], f"{conductivity / IACS:.3g}", f"{1e8 / conductivity:.4g} uohm cm", f"{sheet['density']['value']:.0f} kg/m^3",
            melts, f"{strengths} MPa", ", ".join(sheet["aliases"])]


def material_screen(sheet: Mapping) -> str:
    """One metal: every number with unit, mark and source, the action integrals, and what is drawn on beyond its tables."""
    lines = [f"{sheet['name']}{_also(sheet)}", f"  conductivity {sheet['conductivity']['value'] / IACS:.3g} % IACS"]
    for key, entry in sheet.items():
        if isinstance(entry, dict):
            lines += [f"  {_words(key)} = {_number(entry)}", f"      {entry['mark']}: {entry['source']}"]
    return "\n".join([*lines, *_derived(sheet), *(f"  {note}" for note in beyond_the_table(sheet)), CAUTION])


def _words(key: str) -> str:
    return WORDS.get(key, key.replace("_", " "))


def _also(sheet: Mapping) -> str:
    words = [*sheet.get("aliases", ()), *([f"temper: {sheet['temper']}"] if "temper" in sheet else ())]
    return f" ({', '.join(words)})" if words else ""


def _number(entry: Mapping) -> str:
    unit, temperature = PLAIN_UNIT.get(entry["unit"], entry["unit"]), entry.get("temperature")
    for over, its_unit in (("temperature", "K"), ("field", "A/m")):
        if isinstance(entry.get(over), list):
            points = zip(entry["value"], entry[over], strict=True)
            return ", ".join(f"{value:.4g} at {x:g} {its_unit}" for value, x in points) + f" [{unit}]"
    if isinstance(entry["value"], list):
        return " to ".join(f"{value:g}" for value in entry["value"])
    return display(entry["value"], unit, 5) + (f" at {temperature:g} K" if temperature else "")


def _derived(sheet: Mapping) -> Iterable[str]:
    """Integral of J^2 dt from room temperature to the steps of melting and boiling, computed from the sheet."""
    if "solidus" not in sheet:
        return []
    content = heat_content(metal_of_sheet(sheet))
    steps = zip(("solidus", "all liquid", "boiling"), (*content.melts, content.boils[0]), strict=True)
    actions = ", ".join(f"{content.action(t):.3g} A^2 s/m^4 to {step}" for step, t in steps)
    return [f"  action integral from 293.15 K = {actions}", "      computed: density c dT/rho(T), latent heat included, no expansion"]


def unconfirmed_screen() -> str:
    """Every number that is known from memory only, a line each; to be looked up at its source before it is relied on."""
    rows = [(sheet["name"], _words(key), _short(entry), entry["source"])
            for sheet in map(material_sheet, material_names()) for key, entry in sheet.items()
            if isinstance(entry, dict) and entry["mark"] == UNCONFIRMED]
    return "\n".join([f"{len(rows)} numbers of {len(material_names())} metals are from memory only: look them up at their source",
                      *("  " + ": ".join(row) for row in rows)])


def _short(entry: Mapping) -> str:
    """A number, or the ends of its table."""
    if isinstance(entry["value"], list) and len(entry["value"]) > 2:
        return f"{entry['value'][0]:.4g} ... {entry['value'][-1]:.4g} {entry['unit']} ({len(entry['value'])} points)"
    return _number(entry)

