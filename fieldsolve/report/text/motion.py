"""Metal that moved, as facts for JSON: shape, speed, strain, heat, burst, departure."""
from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from fieldsolve.motion.hoops.former import BREAK_STRAIN, Former
from fieldsolve.screen import column_lines
from fieldsolve.shot.display.summary_rows import pushed_along_axis
from fieldsolve.shot.result.dimensions import has_dimensions
from fieldsolve.units import display

if TYPE_CHECKING:
    from fieldsolve.shot.result.shot import Shot

BODY_END_UNITS = {"outer_radius": "m", "inner_radius": "m", "axis_thickness": "m", "mid_radius_thickness": "m", "rim_thickness": "m",
                  "waist_inner_radius": "m", "waist_outer_radius": "m", "waist_thickness": "m", "waist_height": "m",
                  "crown_height": "m", "crown_radius": "m",
                  "drift": "m", "axial_speed": "m_per_s", "mean_plastic_strain": "1", "plastic_heat_share": "1",
                  "plastic_heat_share_hottest": "1", "plastic_energy": "J", "viscous_energy": "J", "elastic_energy": "J",
                  "kinetic_energy": "J"}
COIL_END_UNITS = {"radius": "m", "outer_radius": "m", "hoop_strain": "1", "plastic_heat_share": "1", "plastic_heat_share_hottest": "1",
                  "plastic_energy": "J", "lost_energy": "J", "elastic_energy": "J", "kinetic_energy": "J"}
CALLIPER = ("diameter_at_corners", "diameter_at_middle", "largest_diameter", "largest_thickness", "largest_thickness_radius")
MOST_FRAMES = 10        # lines of frames on a screen
PEAK_UNITS = {"speed": "m_per_s", "crown_speed": "m_per_s", "plastic_strain": "1", "strain_rate": "per_s", "kinetic_energy": "J"}


def moved_body_facts(shot: Shot, name: str) -> dict[str, Any]:
    """Shape at the end, peaks of speed and strain, energies, and when the body leaves the first coil; None where it is held."""
    leaves = shot.departure(name) if shot.coils else None
    return {**_end_facts(shot, name, BODY_END_UNITS), **_dimension_facts(shot, name), **_peak_facts(shot, name),
            "leaves_coil_at_s": leaves and leaves.time, "leaves_coil_m_per_s": leaves and leaves.speed,
            "leaves_coil_after_record": leaves and leaves.extrapolated}


def _dimension_facts(shot: Shot, name: str) -> dict[str, Any]:
    """What a calliper measures in the end, in metres; nothing of other than flat bodies."""
    if not has_dimensions(shot, name):
        return {}
    found = shot.dimensions(name)
    return {f"{key}_end_m": getattr(found, key) for key in CALLIPER if getattr(found, key) is not None}


def moved_coil_facts(shot: Shot, name: str) -> dict[str, Any]:
    """Radius and strain at the end, peaks, energies, and the first turn's burst over the range of its metal's ductility."""
    burst, (early, late) = shot.burst(name), shot.burst_time_range(name)
    return {**_end_facts(shot, name, COIL_END_UNITS), **_peak_facts(shot, name), "burst_time_s": early, "burst_latest_time_s": late,
            "burst": burst and {"turn": burst.turn, "kinetic_energy_J": burst.kinetic_energy, "speed_m_per_s": burst.speed,
                                "mass_kg": burst.mass}}


def inductance_facts(shot: Shot) -> dict[str, Any]:
    """Inductance of the coils as the bank sees them, first, at the peak of the current and last, where enough current flows."""
    times, henry = shot.apparent_inductance()
    peak = shot.history.peak("current", shot.coils[0])[1] if shot.coils else 0.0
    values = (henry[0], henry[abs(times - peak).argmin()], henry[-1]) if len(henry) else (None,) * 3
    return {f"inductance_seen_{when}_H": value and float(value) for when, value in zip(("first", "at_peak", "last"), values, strict=True)}


def frames_facts(shot: Shot, rate: float) -> dict[str, Any]:
    """Times of a camera's frames, the first at the start, and what it sees at each of the bodies that moved, by series and body.

    The waist of a tube, the outer radius of other bodies, and the crown of those that the field throws along z.
    """
    bodies = [name for name in shot.bodies if ("outer_radius", name) in shot.history.values]
    found: dict[str, Any] = {"rate_Hz": rate, "times_s": [], "outer_radius_m": {}}
    for name in bodies:
        for quantity in _seen_quantities(shot, name):
            times, values = shot.at_frames(rate, name, quantity)
            found["times_s"] = times.tolist()
            found.setdefault(f"{quantity}_m", {})[name] = values.tolist()
    return found


def _seen_quantities(shot: Shot, name: str) -> list[str]:
    if ("waist_thickness", name) in shot.history.values:
        return ["waist_inner_radius", "waist_outer_radius"]
    crown = ["crown_height"] if ("crown_height", name) in shot.history.values and pushed_along_axis(shot, name) else []
    return ["outer_radius", *crown]


def frame_columns(facts: dict[str, Any]) -> dict[str, list[float]]:
    """The frames as columns by header, such as 'outer_radius of disc [m]', the time first."""
    series = {key.removesuffix("_m"): places for key, places in facts.items() if key not in ("rate_Hz", "times_s")}
    return {"time [s]": facts["times_s"], **{f"{quantity} of {name} [m]": values
                                             for quantity, places in series.items() for name, values in places.items()}}


def frames_text(facts: dict[str, Any]) -> list[str]:
    """The same as lines, a frame each: ten frames from the first to the last where there are more."""
    columns = frame_columns(facts)
    if not facts["times_s"]:
        return ["frames: no body moved"]
    count = len(facts["times_s"])
    shown = sorted({round(k * (count - 1) / (MOST_FRAMES - 1)) for k in range(MOST_FRAMES)}) if count > MOST_FRAMES else range(count)
    labels = [header.removesuffix(" [m]").replace("_", " ") for header in columns][1:]
    of_all = f" (shown: {len(shown)} of {count}; --json and --frames-csv hold all)" if count > MOST_FRAMES else ""
    rows = [[f"{1e6 * columns['time [s]'][k]:.3f} us", *(f"{1e3 * values[k]:.4f} mm" for values in list(columns.values())[1:])]
            for k in shown]
    return [f"frames at {display(facts['rate_Hz'], 'Hz')}{of_all}", *column_lines([["time", *labels], *rows])]


def former_facts(former: Former | None) -> dict[str, Any] | None:
    """The former as the shot used it; `stiffness_assumed` where the stiffness follows from the default break strain."""
    if former is None:
        return None
    return {"mass_kg": former.mass, "strength_N": former.strength, "stiffness_N": former.stiffness_and_break_strain[0],
            "stiffness_assumed": former.strength is not None and former.stiffness is None}


def former_text(former: Former) -> str:
    """The same on one line."""
    if former.strength is None:
        return f"{1e3 * former.mass:.4g} g, taken to hold nothing, for [former] strength is not given"
    assumed = (f", which assumes that it breaks at {100 * BREAK_STRAIN:g} % of strain (common practice, no source)"
               if former.stiffness is None else "")
    return (f"{1e3 * former.mass:.4g} g, tears at {display(former.strength, 'N')} of hoop tension, "
            f"stiffness {display(former.stiffness_and_break_strain[0], 'N')}{assumed}")


def _end_facts(shot: Shot, name: str, units: dict[str, str]) -> dict[str, float | None]:
    """Last values of series."""
    return {_fact_key(f"{quantity}_end", unit): _last_value(shot, quantity, name) for quantity, unit in units.items()}


def _peak_facts(shot: Shot, name: str) -> dict[str, float | None]:
    """Peaks of series."""
    return {_fact_key(f"{quantity}_peak", unit): shot.history.peak(quantity, name)[0] if (quantity, name) in shot.history.values else None
            for quantity, unit in PEAK_UNITS.items()}


def _fact_key(name: str, unit: str) -> str:
    return name if unit == "1" else f"{name}_{unit}"


def _last_value(shot: Shot, quantity: str, name: str) -> float | None:
    value = float(shot.series(quantity, name)[-1]) if (quantity, name) in shot.history.values else math.nan
    return value if math.isfinite(value) else None
