"""Metal that moved, as facts for JSON: shape, speed, strain, heat, burst, departure."""
from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from fieldsolve.motion.hoops.former import BREAK_STRAIN, Former
from fieldsolve.units import display

if TYPE_CHECKING:
    from fieldsolve.shot.result.shot import Shot

BODY_END_UNITS = {"outer_radius": "m", "inner_radius": "m", "axis_thickness": "m", "mid_radius_thickness": "m", "rim_thickness": "m",
                  "drift": "m", "axial_speed": "m_per_s", "mean_plastic_strain": "1", "plastic_heat_share": "1",
                  "plastic_heat_share_hottest": "1", "plastic_energy": "J", "viscous_energy": "J", "elastic_energy": "J",
                  "kinetic_energy": "J"}
COIL_END_UNITS = {"radius": "m", "outer_radius": "m", "hoop_strain": "1", "plastic_heat_share": "1", "plastic_heat_share_hottest": "1",
                  "plastic_energy": "J", "lost_energy": "J", "elastic_energy": "J", "kinetic_energy": "J"}
PEAK_UNITS = {"speed": "m_per_s", "plastic_strain": "1", "strain_rate": "per_s", "kinetic_energy": "J"}


def moved_body_facts(shot: Shot, name: str) -> dict[str, Any]:
    """Shape at the end, peaks of speed and strain, energies, and when the body leaves the first coil; None where it is held."""
    leaves = shot.departure(name) if shot.coils else None
    return {**_end_facts(shot, name, BODY_END_UNITS), **_peak_facts(shot, name),
            "leaves_coil_at_s": leaves and leaves.time, "leaves_coil_m_per_s": leaves and leaves.speed,
            "leaves_coil_after_record": leaves and leaves.extrapolated}


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
    """Times of a camera's frames, the first at the start, and the outer radius of every body that moves at each."""
    bodies = [name for name in shot.bodies if ("outer_radius", name) in shot.history.values]
    radii = {name: shot.at_frames(rate, name) for name in bodies}
    times = next(iter(radii.values()))[0].tolist() if radii else []
    return {"rate_Hz": rate, "times_s": times, "outer_radius_m": {name: values.tolist() for name, (_, values) in radii.items()}}


def frames_text(facts: dict[str, Any]) -> list[str]:
    """The same as lines, a frame each."""
    names = facts["outer_radius_m"]
    if not names:
        return ["frames: no body moved"]
    rows = zip(facts["times_s"], *names.values(), strict=True)
    return [f"frames at {display(facts['rate_Hz'], 'Hz')}: time, outer radius of {', '.join(names)}",
            *(f"  {1e6 * time:8.3f} us" + "".join(f"  {1e3 * radius:8.4f} mm" for radius in radii) for time, *radii in rows)]


def former_facts(former: Former | None) -> dict[str, Any] | None:
    """The former as the shot used it; `stiffness_assumed` where the stiffness follows from the default break strain."""
    if former is None:
        return None
    return {"mass_kg": former.mass, "strength_N": former.strength, "stiffness_N": former.stiffness_and_break_strain[0],
            "stiffness_assumed": former.strength is not None and former.stiffness is None}


def former_text(former: Former) -> str:
    """The same on one line."""
    if former.strength is None:
        return f"former: {1e3 * former.mass:.4g} g, taken to hold nothing, for [former] strength is not given"
    assumed = (f", which assumes that it breaks at {100 * BREAK_STRAIN:g} % of strain (common practice, no source)"
               if former.stiffness is None else "")
    return (f"former: {1e3 * former.mass:.4g} g, tears at {display(former.strength, 'N')} of hoop tension, "
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
