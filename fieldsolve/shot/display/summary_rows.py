"""What the summary of a shot says of its bodies and coils: shape, force, current, heat, stretch; what matters first."""
from __future__ import annotations

import math

from fieldsolve.constants import ZERO_CELSIUS
from geometries.parts import Part

MIN_DRIFT = 5e-3            # of a body's height: less motion along z is left out, a symmetric rig's mesh makes as much
MIN_FORCE_SHARE = 0.01      # of the larger force: a smaller one is left out
MIN_PLASTIC_SHARE = 0.01        # of a cell's heat: a smaller plastic share is left out
MIN_MASS_SHARE = 5e-4            # of a part's mass: less molten or boiled metal is left out
NEAR_AXIS = 0.02            # of the diameter: what is thickest nearer to the axis is thickest there
NO_HEIGHT = 1e-7            # metres: a height below it is that of the mid-plane
SHAPE_LABELS = {"outer_radius": "radius", "inner_radius": "hole", "rim_thickness": "thickness over the rim's outer tenth",
                "mid_radius_thickness": "at mid-radius", "axis_thickness": "at axis"}
WAIST_LABELS = {"waist_inner_radius": "inner radius", "waist_outer_radius": "outer radius", "waist_thickness": "wall"}

Rows = list[tuple[str, str]]


def body_rows(shot, name: str) -> Rows:
    """(label, text) of a body, what matters most first: its crown, its shape or, where it is held, its current."""
    along = _along_axis(shot, name)
    crown = [_crown_text(shot, name)] if along and _has(shot, "crown_height", name) else []
    rows = [("  crown", *crown)] if crown else []
    rows += [*_text_row("  shape", shape_text(shot, name)), *_text_row("  calliper", calliper_text(shot, name)),
             *_text_row("  motion", motion_text(shot, name, along)),
             ("  force", force_text(shot, name)), ("  current", _current_text(shot, name)), *_text_row("  heat", heat_text(shot, name))]
    first = rows[0] if along or _has(shot, "plastic_strain", name) else next(row for row in rows if row[0] == "  current")
    return [(name, first[1]), *(row for row in rows if row is not first)]


def coil_rows(shot, name: str) -> Rows:
    """(label, text) of a coil: its current, whether it bursts, stretch, insulation, heat."""
    return [(name, peak_text(shot, name, [("current", "current", 1e-3, "kA")])), *_strength_rows(shot, name), *_stretch_rows(shot, name),
            *_text_row("  heat", heat_text(shot, name)),
            *_text_row("  insulation", peak_text(shot, name, [("turn_voltage", "round a turn", 1.0, "V"),
                                                              ("neighbour_voltage", "between neighbours", 1.0, "V"),
                                                              ("voltage_to_body", "coil to grounded body", 1e-3, "kV")]))]


def shape_text(shot, name: str) -> str:
    """The shape that a body has at the end; nothing where it is held or moves as one."""
    labels = WAIST_LABELS if _has(shot, "waist_thickness", name) else SHAPE_LABELS if _has(shot, "rim_thickness", name) else {}
    ends = {word: tuple(1e3 * shot.series(quantity, name)[[0, -1]]) for quantity, word in labels.items() if _has(shot, quantity, name)}
    text = ", ".join(f"{word} {first:.4g} to {last:.4g} mm" for word, (first, last) in ends.items() if first > 0)
    return f"waist at z = {_height(shot.series('waist_height', name)[-1])} mm: {text}" if labels is WAIST_LABELS else text


def calliper_text(shot, name: str) -> str:
    """Diameters and the largest thickness of a flat body at the end; nothing for others."""
    if not _has(shot, "crown_height", name):
        return ""
    found = shot.dimensions(name)
    corners, middle, largest, place = (1e3 * float(value) for value in (
        found.diameter_at_corners, found.diameter_at_middle, found.largest_thickness, found.largest_thickness_radius))
    where = "at the axis" if place < NEAR_AXIS * corners and found.axis_thickness is not None else f"at radius {place:.3g} mm"
    return f"diameter {corners:.4g} mm over the rim's corners, {middle:.4g} mm at its middle, thickest {largest:.4g} mm {where}"


def motion_text(shot, name: str, along: list[str]) -> str:
    """How a body came to its shape, and how far it went along z; nothing where it is held."""
    text = peak_text(shot, name, [("speed", "fastest", 1.0, "m/s"), ("plastic_strain", "plastic strain", 1.0, ""),
                                  ("strain_rate", "rate", 1.0, "/s")])
    return ", ".join(filter(None, [text, *along]))


def force_text(shot, name: str) -> str:
    """Peaks and impulses of the radial and the axial force, the larger first; a small one is left out."""
    peaks = {direction: shot.history.peak(f"{direction}_force", name) for direction in ("radial", "axial")}
    largest = max(abs(value) for value, _ in peaks.values())
    ordered = sorted(peaks, key=lambda direction: -abs(peaks[direction][0]))
    texts = [peak_text(shot, name, [(f"{direction}_force", direction, 1e-3, "kN")])
             + f" (impulse {shot.impulse(name, direction):.3g} N s)" for direction in ordered
             if abs(peaks[direction][0]) >= MIN_FORCE_SHARE * largest]
    pressure = [] if pushed_along_axis(shot, name) else [("rim_pressure", "B^2/2mu0 at the rim", 1e-6, "MPa")]
    return ", ".join([*texts, *filter(None, [peak_text(shot, name, pressure)])])


def pushed_along_axis(shot, name: str) -> bool:
    """Whether the axial force on a body is larger than the radial one: what happens at its rim then says little."""
    radial, axial = (abs(shot.history.peak(f"{direction}_force", name)[0]) for direction in ("radial", "axial"))
    return axial > radial


def heat_text(shot, name: str) -> str:
    """Temperatures at the end, how far from melting, and what has melted or boiled; nothing where nothing heats."""
    if not _has(shot, "temperature", name):
        return ""
    last = {quantity: float(shot.series(quantity, name)[-1])
            for quantity in ("temperature", "mean_temperature", "molten_share", "boiled_share")}
    margin = melting_margin(shot, name)
    to_melting = f", {margin:.0f} K below melting" if margin is not None and margin > 0 else ""
    text = f"hottest {kelvin_and_celsius(last['temperature'])}{to_melting}, mean {kelvin_and_celsius(last['mean_temperature'])} at the end"
    plastic = shot.history.values.get(("plastic_heat_share_hottest", name))
    if plastic is not None and plastic[-1] > MIN_PLASTIC_SHARE:
        text += f" ({100 * plastic[-1]:.2g} % of the hottest cell's heat plastic)"
    for share, word in (("molten_share", "molten"), ("boiled_share", "boiling, beyond the model")):
        if last[share] > MIN_MASS_SHARE:
            text += f", {100 * last[share]:.2g} % {word}"
    return text


def melting_margin(shot, name: str) -> float | None:
    """Kelvin from the hottest metal of a part at the end to where it begins to melt; None where nothing heats or melts."""
    enthalpy = shot.instants[-1].metal.enthalpy if shot.instants else None
    if shot.heated_metal is None or enthalpy is None:
        return None
    triangles = shot.instants[-1].mesh.zone_triangles(name)
    solidus = [_solidus(shot.section.part(name), k) for k, _ in enumerate(triangles)]
    if len(set(solidus)) == 1:                                      # of one metal: its hottest surface
        return solidus[0] - float(shot.series("temperature", name)[-1]) if math.isfinite(solidus[0]) else None
    temperature = shot.heated_metal.temperature_at(enthalpy)
    margins = [solid - float(temperature[numbers].max()) for solid, numbers in zip(solidus, triangles, strict=True)]
    return min(filter(math.isfinite, margins), default=None)


def kelvin_and_celsius(kelvin: float) -> str:
    """A temperature in both scales.

    >>> kelvin_and_celsius(293.15)
    '293 K (20 C)'
    """
    return f"{kelvin:.0f} K ({kelvin - ZERO_CELSIUS:.0f} C)"


def peak_text(shot, place: str, items) -> str:
    """Peaks of the series that the record holds: word, value, unit and time."""
    texts = []
    for quantity, word, scale, unit in items:
        if _has(shot, quantity, place):
            value, time = shot.history.peak(quantity, place)
            late = " (beyond the model)" if shot.validity_end is not None and time > shot.validity_end else ""
            texts.append(f"{word} {scale * value:.4g}{unit and ' ' + unit} at {1e6 * time:.3g} us{late}" if value else f"{word} none")
    return ", ".join(texts)


def _current_text(shot, name: str) -> str:
    rim = [] if pushed_along_axis(shot, name) else [("loop_voltage", "round the rim", 1.0, "V")]
    return peak_text(shot, name, [("current", "net current", 1e-3, "kA"), *rim, ("power", "power", 1e-6, "MW")])


def _text_row(label: str, text: str) -> Rows:
    return [(label, text)] if text else []


def _strength_rows(shot, name: str) -> Rows:
    """How far a coil's turns are from breaking; nothing where they are held or burst, which is said among the warnings."""
    if not _has(shot, "hoop_strain", name) or shot.burst(name):
        return []
    least, largest = shot.section.part(name).zones[0].material.mechanical.ductility
    strain = max(0.0, float(shot.series("hoop_strain", name).max()))
    return [("  burst", f"no burst: largest hoop strain {100 * strain:.3g} % of the {100 * least:.3g} to {100 * largest:.3g} % "
             "it breaks at")]


def _stretch_rows(shot, name: str) -> Rows:
    """How far a coil's turns have stretched; nothing where it is held."""
    if not _has(shot, "hoop_strain", name):
        return []
    first, last = (1e3 * shot.series("radius", name)[k] for k in (0, -1))
    strain = 100 * shot.series("hoop_strain", name)[-1]
    return [("  stretch", f"middle of the widest turn from {first:.4g} to {last:.4g} mm, hoop strain {strain:.3g} % at the end, "
             + peak_text(shot, name, [("speed", "fastest", 1.0, "m/s")]))]


def _crown_text(shot, name: str) -> str:
    """Where a flat body stands out most over its rim at the end, and how fast it came there."""
    height, radius = (1e3 * shot.series(quantity, name)[-1] for quantity in ("crown_height", "crown_radius"))
    return (f"crown {height:.4g} mm over the rim at r = {radius:.3g} mm at the end, "
            + peak_text(shot, name, [("crown_speed", "fastest", 1.0, "m/s")]))


def _along_axis(shot, name: str) -> list[str]:
    """How far a body went along z, and when it leaves the first coil; nothing for what a symmetric rig's mesh makes."""
    if not _has(shot, "lowest", name):
        return []
    drift = 1e3 * (shot.series("drift", name) if _has(shot, "drift", name) else _middle(shot, name))[-1]
    *_, low, high = shot.section.part(name).bounds
    if abs(drift) <= MIN_DRIFT * 1e3 * (high - low):
        return []
    leaves = shot.departure(name) if shot.coils else None
    left = [f"leaves {shot.coils[0]} at {1e6 * leaves.time:.0f} us with {abs(leaves.speed):.3g} m/s"
            + (" if nothing stops it" if leaves.extrapolated else "")] if leaves else []
    return [f"along z by {drift:.3g} mm", *left]


def _middle(shot, name: str):
    """How far the middle between a body's ends has gone along z, m."""
    middle = 0.5 * (shot.series("lowest", name) + shot.series("highest", name))
    return middle - middle[0]


def _solidus(part: Part, zone: int) -> float:
    """Kelvin at which the metal of a zone begins to melt; infinite where that is not known."""
    thermal = getattr(part.zones[zone].material, "thermal", None)
    return math.inf if thermal is None else float(thermal.melting_range[0])


def _height(z: float) -> str:
    """A height in mm, of the mid-plane without what rounding left."""
    return f"{1e3 * z if abs(z) > NO_HEIGHT else 0.0:.3g}"


def _has(shot, quantity: str, place: str) -> bool:
    return (quantity, place) in shot.history.values
