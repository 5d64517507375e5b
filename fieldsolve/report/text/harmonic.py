"""The results of time-harmonic fields: as facts for JSON and as a table for each frequency."""
from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING

from fieldsolve.caution import CAUTION
from fieldsolve.report.text.facts import (
    accuracy_text,
    as_count,
    bore_peaks,
    coil_text,
    estimate_text,
    facts_with_error,
    peak_rows,
    phasor,
    phasor_text,
    value_or_none,
)
from fieldsolve.screen import WIDTH, column_lines, labelled_lines, wrapped_lines
from fieldsolve.skin import skin_depth
from fieldsolve.units import display
from geometries.parts import Part

if TYPE_CHECKING:
    from fieldsolve.field.harmonic.field import HarmonicField

CONVENTIONS = "peak values of currents (of a coil per turn, of a body net) and fields; means over the cycle of losses and forces"
LONGEST_TITLE = 4                # frequencies named in a title


def harmonic_facts(fields: Iterable[HarmonicField], driven: Iterable[str], applied_field: float = 0.0) -> dict:
    """Results of the same section at several frequencies: floats, ints and None, with the SI unit at the end of each key.

    fields         solved at one frequency each; every one is an entry of `frequencies`
    driven         names of the coils that carry a given current; any other coil is closed on itself
    A phasor is {"re": ..., "im": ...}, a peak value with exp(+j omega t); losses and forces are time means.  What is not defined, as
    the resistance of a line current, is None.
    """
    fields, driven = list(fields), set(driven)
    first = fields[0]
    return {"applied_field_T": float(applied_field), "frequencies": [_frequency_facts(field, driven) for field in fields],
            "unknowns": int(first.unknowns), "solver": str(first.solver), "accuracy_reached": all(f.accuracy_reached for f in fields),
            "approximations": list(first.approximations)}


def _frequency_facts(field: HarmonicField, driven: set[str]) -> dict:
    section = field.section
    bores, reasons = bore_peaks(field, section.bores)
    B_r, B_z = field.flux_density(r=[0.0], z=[0.0])
    return {
        "frequency_Hz": float(field.frequency),
        "coils": {part.name: _coil_facts(field, part, part.name in driven) for part in section.coils},
        "bodies": {part.name: _body_facts(field, part) for part in section.bodies},
        "bores": {region: {**facts_with_error("peak", peak, "T"), "peak_r_m": float(peak.r), "peak_z_m": float(peak.z)}
                  for region, peak in bores.items()},
        "bores_without_peak": reasons,
        "centre_B_r_T": phasor(B_r[0]), "centre_B_z_T": phasor(B_z[0]),
    }


def _coil_facts(field: HarmonicField, part: Part, driven: bool) -> dict:
    name = part.name
    field = field.with_coil_alone(name) if driven and field.currents[name] else field
    terminals = {
        **facts_with_error("resistance", value_or_none(field.resistance, name) if driven else None, "ohm"),
        **facts_with_error("inductance", value_or_none(field.inductance, name) if driven else None, "H"),
        **facts_with_error("resistance_change", value_or_none(field.resistance_change, name) if driven else None, "ohm"),
        **facts_with_error("inductance_change", value_or_none(field.inductance_change, name) if driven else None, "H"),
        **facts_with_error("voltage", value_or_none(field.voltage, name) if driven else None, "V"),
    }
    return {"shape": part.shape, "turns": as_count(part.turns), "driven": driven, "current_A": phasor(field.currents[name]), **terminals,
            **_metal_facts(field, part)}


def _body_facts(field: HarmonicField, part: Part) -> dict:
    zones = {} if len(part.zones) < 2 else {"zones": {
        zone.name: {**facts_with_error("net_current", field.net_current(part.name, zone.name), "A"),
                    **facts_with_error("loss", field.loss(part.name, zone.name), "W"),
                    "material": zone.material and zone.material.name, "skin_depth_m": _skin_depth(zone, field.frequency)}
        for zone in part.zones}}
    return {"shape": part.shape, **facts_with_error("net_current", field.net_current(part.name), "A"), **_metal_facts(field, part), **zones}


def _metal_facts(field: HarmonicField, part: Part) -> dict:
    """Loss, forces and skin depths.  J x B leaves out the force on magnetized metal, which is taken from the stress around it."""
    permeable = any(zone.material is not None and zone.material.is_magnetic for zone in part.zones)
    route = "stress" if permeable else "J x B"
    return {
        **facts_with_error("loss", value_or_none(field.loss, part.name) if part.zones else None, "W"),
        **facts_with_error("radial_force", value_or_none(field.radial_force, part.name, route), "N"),
        **facts_with_error("axial_force", value_or_none(field.axial_force, part.name, route), "N"),
        "force_route": route,
        "skin_depths_m": _skin_depths(part, field.frequency),
    }


def _skin_depths(part: Part, frequency: float) -> dict[str, float]:
    """Skin depth of each metal of a part, by its name; by name and zone where two metals have the same name."""
    depths: dict[str, float] = {}
    for zone in part.zones:
        depth = _skin_depth(zone, frequency)
        if depth is not None and depths.setdefault(zone.material.name, depth) != depth:
            depths[f"{zone.material.name}, {zone.name}"] = depth
    return depths


def _skin_depth(zone, frequency: float) -> float | None:
    metal = zone.material
    if metal is None or not metal.conductivity > 0:
        return None
    return skin_depth(frequency=frequency, conductivity=metal.conductivity, relative_permeability=metal.relative_permeability)


def frequencies_text(frequencies: Iterable[float]) -> str:
    """The frequencies of a title: each, or how many and their range."""
    texts = [display(frequency, "Hz", 6) for frequency in sorted(frequencies)]
    return ", ".join(texts) if len(texts) <= LONGEST_TITLE else f"{len(texts)} frequencies from {texts[0]} to {texts[-1]}"


def harmonic_summary(title: str, facts: dict, notes: Mapping[str, str], left_out: Iterable[str] = ()) -> str:
    """The `facts` of `harmonic_facts` as text: a table of all parts for each frequency.

    notes     says of a coil where its current comes from
    left_out  names of magnetized parts, whose constant field is no part of this one
    """
    coils, left_out = facts["frequencies"][0]["coils"], ", ".join(left_out)
    head = [(name, coil_text(coil) + (f", {_peak_current(coil)} per turn{notes.get(name, '')}" if coil["driven"] else ", closed on itself"))
            for name, coil in coils.items()]
    if facts["applied_field_T"]:
        head.append(("applied field", display(facts["applied_field_T"], "T")))
    if left_out:
        head.append(("left out", f"the constant field of the magnetized {left_out}"))
    if sum(coil["driven"] for coil in coils.values()) > 1:
        head.append(("R and L", "V/I of each coil while the others carry their currents"))
    head += [("approximate", text.removeprefix("approximate: ")) for text in facts["approximations"]]
    foot = [("solved with", f"{facts['unknowns']} unknowns, {facts['solver']}"), ("accuracy", accuracy_text(facts))]
    tables = [line for entry in facts["frequencies"] for line in _frequency_table(entry)]
    return "\n".join([*wrapped_lines(title), *wrapped_lines(CONVENTIONS, "  "), *labelled_lines(head), *tables, "", *labelled_lines(foot),
                      *wrapped_lines(CAUTION)])


def _peak_current(coil: dict) -> str:
    current = complex(coil["current_A"]["re"], coil["current_A"]["im"])
    return display(current.real, "A", 6) if current.imag == 0 else phasor_text(coil["current_A"], "A")


def _frequency_table(entry: dict) -> list[str]:
    """One frequency: a column for each part, then the peaks in the bores."""
    parts = {**entry["coils"], **entry["bodies"]}
    rows = [(f"at {display(entry['frequency_Hz'], 'Hz', 6)}", list(parts))]
    rows += [(name, [estimate_text(part, name, unit) if f"{name}_{unit}" in part else "-" for part in parts.values()])
             for name, unit in (("resistance", "ohm"), ("inductance", "H"))]
    rows.append(("current", [_current_text(part) for part in parts.values()]))
    rows += [(name.replace("_", " "), [estimate_text(part, name, unit) for part in parts.values()])
             for name, unit in (("loss", "W"), ("radial_force", "N"), ("axial_force", "N"))]
    rows.append(("skin depth", [_skin_depths_text(part["skin_depths_m"]) for part in parts.values()]))
    rows = [(label, cells) for label, cells in rows if any(cell != "-" for cell in cells)]
    peaks = peak_rows(entry)
    width = max(len(label) for label, _ in (*rows, *peaks))
    tables = [column_lines([f"{label:<{width}}", *(cells[k] for k in group)] for label, cells in rows)
              for group in _fitting_groups(width, [cells for _, cells in rows])]
    return ["", *(line for table in tables for line in table),
            *(line for label, text in peaks for line in wrapped_lines(text, f"  {label:<{width}}  ", " " * (width + 4)))]


def _fitting_groups(label_width: int, rows: list[list[str]]) -> list[list[int]]:
    """Numbers of the columns that fit beside each other on a screen."""
    groups: list[list[int]] = [[]]
    room = left = WIDTH - 2 - label_width
    for k, column in enumerate(zip(*rows, strict=True)):
        width = 2 + max(map(len, column))
        if groups[-1] and width > left:
            groups.append([])
            left = room
        groups[-1].append(k)
        left -= width
    return groups


def _current_text(part: dict) -> str:
    """Net current of a body, current per turn of a coil."""
    return phasor_text(part["current_A"], "A") if "current_A" in part else estimate_text(part, "net_current", "A")


def _skin_depths_text(depths: dict[str, float]) -> str:
    """Skin depths of a part's metals, each with its metal."""
    return ", ".join(f"{display(depth, 'm', 4)} ({metal})" for metal, depth in depths.items()) or "-"
