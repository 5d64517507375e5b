"""The figures of a shot as facts for JSON, and what it exceeds of the banks' ratings."""
from __future__ import annotations

import math
from typing import Any

from fieldsolve.report.text.facts import defined
from fieldsolve.report.text.motion import inductance_facts, moved_body_facts, moved_coil_facts
from fieldsolve.units import display

GIVEN = ("accuracy", "seconds", "end_time_s", "capacitance_F", "voltage_V", "energy_J", "energy_initial_J")     # no results


def shot_facts(shot) -> dict[str, Any]:
    """Figures of a shot: floats, ints, text and None, never NaN, with the SI unit at the end of each key.

    `coil_...` is the first coil in the circuit and `disc_...` the first body; all of them stand below `coils` and `bodies`.
    """
    coils = {name: _coil_facts(shot, name) for name in shot.coils}
    bodies = {name: _body_facts(shot, name) for name in shot.bodies}
    fields = {place: dict(zip(("peak_T", "peak_time_s"), _peak(shot, "field", place), strict=True))
              for quantity, place in shot.history.values if quantity == "field"}
    return {
        "held": shot.held, "interrupted": bool(shot.interrupted), "ended": shot.ended or None, "end_time_s": _number(shot.times[-1]),
        "accuracy": _number(shot.accuracy),
        **_headline(shot, next(iter(coils), None), next(iter(bodies), None), fields),
        "energy_residual": _number(shot.energy.residual), "steps": int(shot.steps), "seconds": _number(shot.wall_time),
        "unknowns": int(shot.unknowns), "reversal": _number(shot.reversal) if shot.bank_places else None,
        "banks": {place: _bank_facts(shot, place, bank) for place, bank in zip(shot.bank_places, shot.network.banks, strict=True)},
        "beyond_the_model_from_s": shot.beyond, **inductance_facts(shot), "coils": coils, "bodies": bodies, "fields": fields,
        "energy_initial_J": _number(shot.energy.initial),
        "energies_at_end_J": {name: _number(value) for name, value in shot.energy.at_end().items()},
        "events": [{"time_s": _number(time), "event": event} for time, event in shot.events],
        "exceeded": exceeded(shot),
    }


def shot_errors(shot) -> dict[str, Any]:
    """Errors of the figures of `shot_facts` under the same keys: their difference from a run with finer cells and steps, which is made now.

    What is no result, as steps and seconds, and what is not there in both, is left out.
    """
    return _differences(shot_facts(shot), shot_facts(shot.again()))


def _differences(facts: dict, finer: dict) -> dict[str, Any]:
    found = {}
    for key, value in facts.items():
        other = finer.get(key)
        if isinstance(value, dict):
            found[key] = _differences(value, other or {})
        elif isinstance(value, float) and isinstance(other, float) and key not in GIVEN:
            found[key] = abs(value - other)
    return found


def exceeded(shot) -> list[str]:
    """A sentence for each rating of a bank that the shot exceeds."""
    found = []
    for place, bank in zip(shot.bank_places, shot.network.banks, strict=True):
        current, reversal = abs(_peak(shot, "current", place)[0]), shot.reversal_of(place)
        if bank.rated_current is not None and current > bank.rated_current:
            found.append(f"{place}: {display(current, 'A')} is above the rated {display(bank.rated_current, 'A')}")
        if bank.rated_reversal is not None and reversal > bank.rated_reversal:
            found.append(f"{place}: a reversal of {100 * reversal:.3g} % is above the rated {100 * bank.rated_reversal:.3g} %")
    return found


def _headline(shot, coil: str | None, body: str | None, fields: dict) -> dict[str, Any]:
    """The first coil's and the first body's figures."""
    coil_peak, coil_time = _peak(shot, "current", coil)
    held = body is not None
    return {
        "coil_peak_A": coil_peak, "coil_peak_time_s": coil_time, "disc_peak_A": _peak(shot, "current", body)[0],
        "loop_voltage_peak_V": _peak(shot, "loop_voltage", body)[0], "disc_power_peak_W": _peak(shot, "power", body)[0],
        "field_peak_T": max((facts["peak_T"] for place, facts in fields.items() if place.split(" of ")[0] == "bore"), default=None),
        "radius_ratio": _number(shot.radius_ratio(body)) if held else None,
        "rim_thickness_ratio": _number(shot.thickness_ratio(body, at="rim")) if held else None,
        "temperature_max_K": _peak(shot, "temperature", body)[0],
        "coil_burst_time_s": shot.burst_time(coil) if coil else None,
        "integral_I2dt_A2s": _number(shot.action(coil)) if coil else None,
        "radial_impulse_Ns": _number(shot.impulse(body)) if held else None,
    }


def _bank_facts(shot, place: str, bank) -> dict[str, Any]:
    current, time = _peak(shot, "current", place)
    return {"capacitance_F": _number(bank.capacitance), "voltage_V": _number(bank.voltage), "energy_J": _number(bank.energy),
            "current_peak_A": current, "current_peak_time_s": time, "reversal": _number(shot.reversal_of(place)),
            "voltage_at_end_V": _number(shot.residual_voltages[place])}


def _coil_facts(shot, name: str) -> dict[str, Any]:
    return {**_peaks(shot, name, {"current": "A", "voltage": "V", "turn_voltage": "V", "neighbour_voltage": "V", "voltage_to_body": "V",
                                   "power": "W", "radial_force": "N"}),
            **_heat(shot, name), "integral_I2dt_A2s": _number(shot.action(name)), "radial_impulse_Ns": _number(shot.impulse(name)),
            **moved_coil_facts(shot, name)}


def _body_facts(shot, name: str) -> dict[str, Any]:
    return {**_peaks(shot, name, {"current": "A", "loop_voltage": "V", "power": "W", "radial_force": "N", "axial_force": "N",
                                   "rim_pressure": "Pa"}),
            **_heat(shot, name), "radial_impulse_Ns": _number(shot.impulse(name)),
            "power_over_current_V": _number(shot.power_over_current(name)),
            "radius_ratio": _number(shot.radius_ratio(name)),
            **{f"thickness_ratio_{at}": defined(shot.thickness_ratio, name, at=at) for at in ("axis", "mid-radius", "rim")},
            **moved_body_facts(shot, name)}


def _heat(shot, name: str) -> dict[str, Any]:
    """Temperatures and molten share; None where nothing heats."""
    return {"temperature_max_K": _peak(shot, "temperature", name)[0], "temperature_mean_K": _peak(shot, "mean_temperature", name)[0],
            "molten_share": _peak(shot, "molten_share", name)[0], "boiled_share": _peak(shot, "boiled_share", name)[0],
            "action_over_that_to_solidus": _peak(shot, "action_share", name)[0]}


def _peaks(shot, name: str, units: dict[str, str]) -> dict[str, Any]:
    """Peak and its time of each quantity of a part that the record holds."""
    found: dict[str, Any] = {}
    for quantity, unit in units.items():
        found[f"{quantity}_peak_{unit}"], found[f"{quantity}_peak_time_s"] = _peak(shot, quantity, name)
    return found


def _peak(shot, quantity: str, place: str | None) -> tuple[float | None, float | None]:
    if (quantity, place) not in shot.history.values:
        return None, None
    value, time = shot.history.peak(quantity, place)
    return _number(value), _number(time)


def _number(value) -> float | None:
    """A plain float; None for what is not finite."""
    return float(value) if math.isfinite(value) else None
