"""What is written by hand on the sheet: who, when and at what charge, and what was measured beside what was computed."""
from __future__ import annotations

from typing import TYPE_CHECKING

from fieldsolve.report.display_units import MM
from fieldsolve.shot.display.summary_rows import pushed_along_axis
from fieldsolve.shot.result.dimensions import has_dimensions
from fieldsolve.units import display
from geometries.parts import Part

if TYPE_CHECKING:
    from fieldsolve.shot.result.shot import Shot

MOST_BODIES = 2         # bodies with room for what is measured of them
Blank = tuple[str, str]             # label, and what is written in small beside it


def blanks(shot: Shot) -> list[Blank]:
    """Fields to fill in."""
    charges = ", ".join(display(bank.voltage, "V") for bank in shot.network.banks)
    return [("date", ""), ("shot number", ""), ("operator", ""), ("second person", ""),
            ("charge at the trigger", charges and f"planned {charges}"),
            ("peak current", f"computed {display(abs(shot.history.peak('current', shot.coils[0])[0]), 'A')}" if shot.coils else "")]


def measures(shot: Shot) -> list[Blank]:
    """What is measured of each body before and after the shot, with what is computed."""
    bodies = [part for part in shot.section.parts if part.zones and part.name not in shot.coils][:MOST_BODIES]
    return [(f"{part.name}: {what}" if len(bodies) > 1 else what, text) for part in bodies for what, text in _measures_of(shot, part)]


def _measures_of(shot: Shot, part: Part) -> list[tuple[str, str]]:
    name, (inner, outer, low, high) = part.name, (MM * bound for bound in part.bounds)
    rows = [("diameter, mean of four", 2.0, "outer_radius", outer),
            ("thickness over the rim's tenth", 1.0, "rim_thickness", high - low)]
    if ("waist_thickness", name) in shot.history.values:
        rows = [("inner diameter at its waist", 2.0, "waist_inner_radius", inner),
                ("outer diameter there", 2.0, "waist_outer_radius", outer), ("wall there", 1.0, "waist_thickness", outer - inner)]
    elif ("crown_height", name) in shot.history.values and pushed_along_axis(shot, name):
        rows = [("crown over the rim", 1.0, "crown_height", 0.0), *rows]
    elif has_dimensions(shot, name):
        return _calliper_measures(shot, name)
    return [(what, _computed(shot, name, factor, quantity, start)) for what, factor, quantity, start in rows]


def _calliper_measures(shot: Shot, name: str) -> list[tuple[str, str]]:
    first, last = shot.dimensions(name, 0.0), shot.dimensions(name)
    measured = [("diameter at corners", "diameter_at_corners"), ("largest thickness", "largest_thickness"),
                ("thickness, rim's tenth", "rim_thickness")]
    return [(what, f"{round(MM * getattr(first, key), 2):g} to {round(MM * getattr(last, key), 2):g} mm") for what, key in measured]


def _computed(shot: Shot, name: str, factor: float, quantity: str, start: float) -> str:
    if (quantity, name) not in shot.history.values:
        return f"{factor * start:.4g} mm"
    first, last = (factor * MM * shot.series(quantity, name)[k] for k in (0, -1))
    return f"{first:.4g} to {last:.4g} mm"
