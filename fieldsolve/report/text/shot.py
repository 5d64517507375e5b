"""The results of a shot as facts for JSON, and the ratings of the banks that it exceeds."""
from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from fieldsolve.estimate import Estimate
from fieldsolve.report.text.facts import value_or_none
from fieldsolve.report.text.motion import inductance_facts, moved_body_facts, moved_coil_facts
from fieldsolve.shot.result.estimates import THICKNESS_PLACES
from fieldsolve.units import display

if TYPE_CHECKING:
    from fieldsolve.shot.result.error_model import RunComparison
    from fieldsolve.shot.result.shot import Shot

INPUT_KEYS = ("accuracy", "seconds", "end_time_s", "capacitance_F", "voltage_V", "energy_J", "energy_initial_J")     # no results


def shot_facts(shot: Shot) -> dict[str, Any]:
    """Results of a shot: floats, ints, text and None, never NaN, with the SI unit at the end of each key.

    Those of the first coil in the circuit and of the first body stand at the top, with their names: of the body `can` `can_peak_A`.
    Those of all parts stand below `coils` and `bodies`.
    """
    return _as_numbers(_estimated_facts(shot))


def _estimated_facts(shot: Shot) -> dict[str, Any]:
    """The same, with estimates where a bound is known."""
    coils = {name: _coil_facts(shot, name) for name in shot.coils}
    bodies = {name: _body_facts(shot, name) for name in shot.bodies}
    fields = {place: dict(zip(("peak_T", "peak_time_s"), _peak(shot, "field", place), strict=True))
              for quantity, place in shot.history.values if quantity == "field"}
    return {
        "held": shot.held,
        "interrupted": bool(shot.interrupted),
        "ended": shot.stop_reason or None,
        "end_time_s": _finite_or_none(shot.times[-1]),
        "accuracy": _finite_or_none(shot.accuracy),
        **_key_facts(shot, next(iter(coils), None), next(iter(bodies), None), fields),
        "energy_residual": _finite_or_none(shot.energy.residual),
        "steps": int(shot.steps),
        "seconds": _finite_or_none(shot.wall_time),
        "unknowns": int(shot.unknowns),
        "reversal": _finite_or_none(shot.reversal) if shot.bank_places else None,
        "banks": {place: _bank_facts(shot, place, bank) for place, bank in zip(shot.bank_places, shot.network.banks, strict=True)},
        "beyond_the_model_from_s": shot.validity_end,
        **inductance_facts(shot),
        "coils": coils,
        "bodies": bodies,
        "fields": fields,
        "energy_initial_J": _finite_or_none(shot.energy.initial),
        "energies_at_end_J": {name: _finite_or_none(value) for name, value in shot.energy.final_energies().items()},
        "events": [{"time_s": _finite_or_none(time), "event": event} for time, event in shot.events],
        "exceeded": exceeded_ratings(shot),
        "accuracy_reached": bool(shot.accuracy_reached),
        "shortfalls": list(shot.shortfalls),
    }


def shot_errors(shot: Shot) -> dict[str, Any] | None:
    """Error bounds of `shot_facts` under the same keys; None where none are known.

    They are those of the estimates themselves; of other numbers, whose keys end in their units, those by the compared runs.  Steps and
    seconds, which are no results, are left out, and so is what only one of the compared runs has.
    """
    facts = _estimated_facts(shot)
    bounds = [_fact_bounds(comparison, facts, shot_facts(comparison.run)) for comparison in shot.comparisons]
    return _smallest(bounds) if bounds else None


def _fact_bounds(comparison: RunComparison, facts: dict, others: dict) -> dict[str, Any]:
    """Error bounds of facts, from those of another run where they are no estimates."""
    bounds = {}
    for key, value in facts.items():
        other = others.get(key)
        if isinstance(value, dict):
            bounds[key] = _fact_bounds(comparison, value, other or {})
        elif isinstance(value, Estimate):
            if math.isfinite(value.error):
                bounds[key] = value.error
        elif isinstance(value, float) and isinstance(other, float) and key not in INPUT_KEYS:
            bounds[key] = float(comparison.bound(value, other, key.rpartition("_")[2]))
    return bounds


def _smallest(bounds: list[dict]) -> dict[str, Any]:
    """The tightest of several bounds, key by key."""
    return {key: _smallest([each[key] for each in bounds if key in each]) if isinstance(value, dict)
            else min(each.get(key, math.inf) for each in bounds) for key, value in bounds[0].items()}


def _as_numbers(facts: Any) -> Any:
    """Facts with the bare numbers of the estimates in them."""
    if isinstance(facts, dict):
        return {key: _as_numbers(value) for key, value in facts.items()}
    return float(facts) if isinstance(facts, Estimate) else facts


def exceeded_ratings(shot: Shot) -> list[str]:
    """A sentence for each rating of a bank that the shot exceeds."""
    differences = []
    for place, bank in zip(shot.bank_places, shot.network.banks, strict=True):
        current, reversal = abs(_peak(shot, "current", place)[0]), shot.reversal_of(place)
        if bank.rated_current is not None and current > bank.rated_current:
            differences.append(f"{place}: {display(current, 'A')} is above the rated {display(bank.rated_current, 'A')}")
        if bank.rated_reversal is not None and reversal > bank.rated_reversal:
            differences.append(f"{place}: a reversal of {100 * reversal:.3g} % is above the rated {100 * bank.rated_reversal:.3g} %")
    return differences


def _key_facts(shot: Shot, coil: str | None, body: str | None, fields: dict) -> dict[str, Any]:
    """Results of the first coil and of the first body, whose names begin their keys."""
    coil_peak, coil_time = _peak(shot, "current", coil)
    held = body is not None
    body_facts = {f"{body}_peak_A": _peak(shot, "current", body)[0], f"{body}_power_peak_W": _peak(shot, "power", body)[0]} if held else {}
    coil_facts = {f"{coil}_peak_A": coil_peak, f"{coil}_peak_time_s": coil_time, f"{coil}_burst_time_s": shot.burst_time(coil)} \
        if coil else {}
    return {
        **coil_facts, **body_facts,
        "loop_voltage_peak_V": _peak(shot, "loop_voltage", body)[0],
        "field_peak_T": max((facts["peak_T"] for place, facts in fields.items() if place.split(" of ")[0] == "bore"), default=None),
        "radius_ratio": _finite_or_none(shot.radius_ratio(body)) if held else None,
        "rim_thickness_ratio": value_or_none(shot.thickness_ratio, body, at="rim") if held else None,
        "temperature_max_K": _peak(shot, "temperature", body)[0],
        "integral_I2dt_A2s": _finite_or_none(shot.action(coil)) if coil else None,
        "radial_impulse_Ns": _finite_or_none(shot.impulse(body)) if held else None,
        "axial_impulse_Ns": _finite_or_none(shot.impulse(body, "axial")) if held else None,
    }


def _bank_facts(shot: Shot, place: str, bank) -> dict[str, Any]:
    current, time = _peak(shot, "current", place)
    return {
        "capacitance_F": _finite_or_none(bank.capacitance),
        "voltage_V": _finite_or_none(bank.voltage),
        "energy_J": _finite_or_none(bank.energy),
        "current_peak_A": current,
        "current_peak_time_s": time,
        "reversal": _finite_or_none(shot.reversal_of(place)),
        "voltage_at_end_V": _finite_or_none(shot.residual_voltages[place]),
    }


def _coil_facts(shot: Shot, name: str) -> dict[str, Any]:
    return {
        **_peak_facts(shot, name, {"current": "A", "voltage": "V", "turn_voltage": "V", "neighbour_voltage": "V", "voltage_to_body": "V",
                                   "power": "W", "radial_force": "N"}),
        **_heat_facts(shot, name),
        "integral_I2dt_A2s": _finite_or_none(shot.action(name)),
        "radial_impulse_Ns": _finite_or_none(shot.impulse(name)) if ("radial_force", name) in shot.history.values else None,
        **moved_coil_facts(shot, name),
    }


def _body_facts(shot: Shot, name: str) -> dict[str, Any]:
    return {**_peak_facts(shot, name, {"current": "A", "loop_voltage": "V", "power": "W", "radial_force": "N", "axial_force": "N",
                                       "rim_pressure": "Pa"}),
            **_heat_facts(shot, name), "radial_impulse_Ns": _finite_or_none(shot.impulse(name)),
            "axial_impulse_Ns": _finite_or_none(shot.impulse(name, "axial")),
            "power_over_current_V": _finite_or_none(shot.power_over_current(name)),
            "radius_ratio": _finite_or_none(shot.radius_ratio(name)),
            **{f"thickness_ratio_{at}": value_or_none(shot.thickness_ratio, name, at=at) for at in THICKNESS_PLACES},
            **moved_body_facts(shot, name)}


def _heat_facts(shot: Shot, name: str) -> dict[str, Any]:
    """Temperatures and molten share; None where nothing heats."""
    return {"temperature_max_K": _peak(shot, "temperature", name)[0], "temperature_mean_K": _peak(shot, "mean_temperature", name)[0],
            "molten_share": _peak(shot, "molten_share", name)[0], "boiled_share": _peak(shot, "boiled_share", name)[0],
            "action_over_that_to_solidus": _peak(shot, "action_share", name)[0]}


def _peak_facts(shot: Shot, name: str, units: dict[str, str]) -> dict[str, Any]:
    """Peak and its time of each quantity of a part that the history holds."""
    differences: dict[str, Any] = {}
    for quantity, unit in units.items():
        differences[f"{quantity}_peak_{unit}"], differences[f"{quantity}_peak_time_s"] = _peak(shot, quantity, name)
    return differences


def _peak(shot: Shot, quantity: str, place: str | None) -> tuple[float | None, float | None]:
    if (quantity, place) not in shot.history.values:
        return None, None
    peak = shot.peak(quantity, place)
    return _finite_or_none(peak), _finite_or_none(Estimate(peak.time, peak.time_error, "s"))


def _finite_or_none(value) -> float | None:
    """A Python float, or the estimate that is given; None for what is not finite."""
    if not math.isfinite(value):
        return None
    return value if isinstance(value, Estimate) else float(value)
