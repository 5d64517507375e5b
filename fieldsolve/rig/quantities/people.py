"""Quantities of what people are kept from: fragments, burst, sound, stray field."""
from __future__ import annotations

from fieldsolve.rig.card_inputs import CardInputs, require_burst, require_moving_shot, require_shot, stray_magnetic_moment
from fieldsolve.rig.checks.people import energy_speed_bound, worst_fragment
from fieldsolve.rig.coil import coil_mass
from fieldsolve.rig.formulas import exposure, fragments, penetration, sound
from fieldsolve.rig.quantities.rule import QuantityRule
from fieldsolve.rig.rig import total_bank_energy, total_turns
from fieldsolve.rig.source import CLOSED_FORM, SHOT
from fieldsolve.rig.tables import MissingInput


def _needed_wall(inputs: CardInputs) -> float:
    return _wall_for_speed(inputs, worst_fragment(inputs).speed)


def _wall_for_speed(inputs: CardInputs, speed: float) -> float:
    """Metres of wall that twice the worst formula, or the worst at twice the speed, needs at a speed in m/s."""
    found = worst_fragment(inputs)
    once, fast = (max(penetration.required_thicknesses(found.mass, times * speed, found.diameter).values()) for times in (1, 2))
    return max(2 * once, fast)


def _wall_for_computed_speed(inputs: CardInputs) -> float:
    return _wall_for_speed(inputs, require_moving_shot(inputs).largest_speed)


def _latest_burst_time(inputs: CardInputs) -> float:
    require_burst(inputs)
    if inputs.moving_shot.latest_burst_time is None:
        raise MissingInput(f"a shot that is longer than {1e6 * inputs.moving_shot.end_time:.4g} us")
    return inputs.moving_shot.latest_burst_time


def _lid_impulse(inputs: CardInputs) -> float:
    total_turns(inputs.rig)
    mass = sum(coil_mass(coil) for coil in inputs.rig.coils) + inputs.rig.former.mass
    return fragments.impulse_bound(total_bank_energy(inputs.rig), mass)


def _public_distance(inputs: CardInputs) -> float:
    frequency = require_shot(inputs).frequency
    if frequency is None:
        raise MissingInput("[run] end_time beyond the first current zero")
    try:
        return exposure.dipole_distance(stray_magnetic_moment(inputs), exposure.peak_reference_level(frequency, public=True))
    except ValueError as error:
        raise MissingInput(f"a frequency in ICNIRP's table: {error}") from None


def _implant_distance(inputs: CardInputs) -> float:
    return exposure.dipole_distance(stray_magnetic_moment(inputs), exposure.IMPLANT_LIMIT)


QUANTITIES = (
    QuantityRule("needed_wall", "wall: twice the worst formula, or at twice the speed", "m",
                 penetration.SOURCE, _needed_wall),
    QuantityRule("bound_speed", "speed if all the bank's energy moved the coil", "m/s",
                 CLOSED_FORM, lambda inputs: energy_speed_bound(inputs.rig)),
    QuantityRule("fastest_turn", "fastest turn as computed, no bound", "m/s",
                 SHOT, lambda inputs: require_moving_shot(inputs).largest_speed, reads="moving_shot"),
    QuantityRule("fastest_turn_wall", "wall by that speed alone, not to build by", "m",
                 penetration.SOURCE, _wall_for_computed_speed, reads="moving_shot"),
    QuantityRule("burst_time", "first turn breaks, at the earliest", "s",
                 SHOT, lambda inputs: require_burst(inputs).time, reads="moving_shot"),
    QuantityRule("burst_latest", "first turn breaks, at the latest", "s",
                 SHOT, _latest_burst_time, reads="moving_shot"),
    QuantityRule("burst_energy", "energy of the coil's motion then", "J",
                 SHOT, lambda inputs: require_burst(inputs).kinetic_energy, reads="moving_shot"),
    QuantityRule("burst_mass", "mass that moves then, former included", "kg",
                 SHOT, lambda inputs: require_burst(inputs).mass, reads="moving_shot"),
    QuantityRule("lid_impulse", "impulse of the whole coil on lid and bolts", "N s", CLOSED_FORM, _lid_impulse),
    QuantityRule("blast_level", "peak sound in the open at 5 m, all energy as blast", "dB",
                 sound.BLAST_SOURCE, lambda inputs: sound.peak_sound_level(sound.blast_pressure(total_bank_energy(inputs.rig), 5.0))),
    QuantityRule("public_distance", "stray field at the public's level at", "m",
                 exposure.ICNIRP_SOURCE, _public_distance, reads="shot"),
    QuantityRule("implant_distance", "stray field at 0.5 mT (static, implants) at", "m",
                 exposure.STATIC_SOURCE, _implant_distance, reads="shot"),
)
