"""The results of a static field: as facts for JSON and as a short screen."""
from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

from fieldsolve.caution import CAUTION
from fieldsolve.estimate import Estimate
from fieldsolve.report.text.facts import (
    accuracy_text,
    as_count,
    bore_peaks,
    coil_text,
    estimate_text,
    facts_with_error,
    finite_or_none,
    peak_rows,
)
from fieldsolve.screen import labelled_lines, wrapped_lines
from fieldsolve.units import display
from geometries.cross_section import CrossSection
from geometries.parts import Part

if TYPE_CHECKING:
    from fieldsolve.field.static.field import StaticField

NO_SECTION = "none (a turn without section)"


def field_facts(field: StaticField, section: CrossSection, currents: Mapping[str, float], applied_field: float = 0.0) -> dict:
    """Results of the static `field`: floats, ints and None, with the SI unit at the end of each key.

    What is infinite or absent (self inductance and energy of a turn without section, a bore without a coil) is None or left out.
    """
    driven = [part for part in section.parts if part.name in currents]
    peaks, reasons = bore_peaks(field, _solid_bores(section, driven))
    bores = {region: _peak_facts(peak) for region, peak in peaks.items()}
    B_r, B_z = field.flux_density(r=[0.0], z=[0.0])
    return {
        "applied_field_T": float(applied_field),
        "coils": {part.name: _coil_facts(field, part, currents[part.name], len(driven)) for part in driven},
        **({"inductance_matrix": _matrix_facts(field)} if len(driven) > 1 and all(map(_has_self_inductance, driven)) else {}),
        "bores": bores, "bores_without_peak": reasons,
        **_highest_bore(bores),
        **facts_with_error("energy", _stored_energy(field, driven), "J"),
        "centre_B_r_T": float(B_r[0]), "centre_B_z_T": float(B_z[0]),
        "unknowns": int(field.unknowns), "solver": str(field.solver), "accuracy_reached": bool(field.accuracy_reached),
    }


def _has_self_inductance(part: Part) -> bool:
    return part.filament is None


def _stored_energy(field: StaticField, driven: list[Part]) -> Estimate | None:
    return field.energy() if all(map(_has_self_inductance, driven)) else None


def _solid_bores(section: CrossSection, driven: list[Part]) -> list[str]:
    """Regions in whose field a largest value exists: no line or point source lies at their edge."""
    return [] if any(part.filament or part.sheet for part in driven) else list(section.bores)


def _peak_facts(peak: Estimate) -> dict[str, float]:
    return {**facts_with_error("peak", peak, "T"), "peak_r_m": float(peak.r), "peak_z_m": float(peak.z)}


def _highest_bore(bores: dict[str, dict]) -> dict:
    """Peak of the bore with the highest field, and its name."""
    if not bores:
        return {"peak_region": None, "peak_T": None, "peak_error_T": None, "peak_r_m": None, "peak_z_m": None}
    region = max(bores, key=lambda name: bores[name]["peak_T"])
    return {"peak_region": region, **bores[region]}


def _coil_facts(field: StaticField, part: Part, current: float, coils: int) -> dict:
    inductance = field.inductance(part.name) if _has_self_inductance(part) else None
    force = facts_with_error("axial_force", field.axial_force(part.name), "N") if coils > 1 else {}
    return {"shape": part.shape, "turns": as_count(part.turns), "current_A": float(current),
            **facts_with_error("inductance", inductance, "H"), **force}


def _matrix_facts(field: StaticField) -> dict:
    names, matrix = field.inductance_matrix()
    return {"coils": list(names), "inductance_H": [[float(entry) for entry in row] for row in matrix],
            "inductance_error_H": [[finite_or_none(entry.error) for entry in row] for row in matrix]}


def field_summary(title: str, facts: dict, notes: Mapping[str, str], bodies: list[str]) -> str:
    """The `facts` of `field_facts` as a short text; `notes` says of a coil where its current comes from."""
    rows = [row for name, coil in facts["coils"].items() for row in _coil_rows(name, coil, notes.get(name, ""))]
    if bodies:
        rows.append(("bodies", ", ".join(bodies) + " (no induced current in a field at rest)"))
    if facts["applied_field_T"]:
        rows.append(("applied field", display(facts["applied_field_T"], "T")))
    rows += _mutual_rows(facts.get("inductance_matrix"))
    rows += peak_rows(facts)
    rows += [("field at the centre", f"B_z = {display(facts['centre_B_z_T'], 'T', 5)}"),
             ("stored energy", estimate_text(facts, "energy", "J", NO_SECTION)),
             ("solved with", f"{facts['unknowns']} unknowns, {facts['solver']}"),
             ("accuracy", accuracy_text(facts))]
    return "\n".join([*wrapped_lines(title), *labelled_lines(rows), *wrapped_lines(CAUTION)])


def _coil_rows(name: str, coil: dict, note: str) -> list[tuple[str, str]]:
    rows = [(name, f"{coil_text(coil)}, {display(coil['current_A'], 'A', 6)} per turn{note}"),
            (f"inductance, {name}", estimate_text(coil, "inductance", "H", NO_SECTION))]
    return rows + ([(f"axial force, {name}", estimate_text(coil, "axial_force", "N"))] if "axial_force_N" in coil else [])


def _mutual_rows(matrix: dict | None) -> list[tuple[str, str]]:
    if not matrix:
        return []
    names, values = matrix["coils"], matrix["inductance_H"]
    return [(f"mutual, {names[i]} and {names[j]}", display(values[i][j], "H", 5)) for i in range(len(names)) for j in range(i)]
