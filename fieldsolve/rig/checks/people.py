"""Checks of what protects people: the wall of the box, the distance, hearing, implants, the stray field."""
from __future__ import annotations

from dataclasses import replace

from fieldsolve.rig.card_inputs import CardInputs, require_shot, stray_magnetic_moment
from fieldsolve.rig.checks.rule import AT_LEAST, AT_MOST, MUST_BE, Assessment, Rule, largest_assessment
from fieldsolve.rig.coil import coil_mass, turn_masses
from fieldsolve.rig.formulas import exposure, penetration, sound
from fieldsolve.rig.formulas.fragments import Fragment, lump_diameter, speed_bound
from fieldsolve.rig.rig import Rig, total_bank_energy, total_turns
from fieldsolve.rig.source import CASE_FILE, CLOSED_FORM
from fieldsolve.rig.tables import MissingInput, require
from fieldsolve.units import display


def worst_fragment(inputs: CardInputs) -> Fragment:
    """The fragment the box must hold: the given one, else the heaviest turn, at the highest of the speeds known, which are all named.

    A computed or given speed below the one that the bank's energy bounds is shown beside it and never takes its place.
    """
    (speed, reason), *slower_speeds = sorted(_possible_speeds(inputs), reverse=True)
    reason = "; ".join([reason, *(f"{source} {slower_speed:.0f} m/s" for slower_speed, source in slower_speeds)])
    if inputs.rig.fragment is not None:
        return replace(inputs.rig.fragment, speed=speed, reason=reason)
    mass, density = max((mass, zone.material.density) for coil in inputs.rig.coils
                        for mass, zone in zip(turn_masses(coil), coil.zones, strict=True))
    mass = inputs.rig.box.fragment_mass or mass
    return Fragment(mass, speed, inputs.rig.box.fragment_diameter or lump_diameter(mass, density), reason)


def energy_speed_bound(rig: Rig) -> float:
    """Speed in m/s of the coils if all the banks' energy moved them."""
    total_turns(rig)
    return speed_bound(total_bank_energy(rig), sum(coil_mass(coil) for coil in rig.coils))


def _possible_speeds(inputs: CardInputs) -> list[tuple[float, str]]:
    """Speeds in m/s a fragment may have, and where each comes from."""
    found = [(energy_speed_bound(inputs.rig), "all the bank's energy in the coil")]
    if inputs.moving_shot is not None:
        found.append((inputs.moving_shot.largest_speed, "fastest turn of the computed shot with moving metal"))
    if inputs.rig.fragment is not None:
        found.append((inputs.rig.fragment.speed, inputs.rig.fragment.reason))
    return found


def wall_margin(inputs: CardInputs) -> Assessment:
    """Wall over the thickness that the worst formula needs at the fragment's speed."""
    wall, material = require(inputs.rig.box, "wall", "material")
    fragment = worst_fragment(inputs)
    margin, needed = _wall_margin_at(inputs, fragment.speed)
    return margin, (f"{display(wall, 'm')} of {material}; {1e3 * fragment.mass:.3g} g with a face of "
                    f"{display(fragment.diameter, 'm')} at {fragment.speed:.0f} m/s ({fragment.reason}) need {needed}; a straight wire "
                    "end-on goes deeper")


def wall_margin_fast(inputs: CardInputs) -> Assessment:
    """The same at twice the fragment's speed, for jets push bits faster than the whole."""
    require(inputs.rig.box, "wall", "material")
    speed = 2 * worst_fragment(inputs).speed
    margin, needed = _wall_margin_at(inputs, speed)
    return margin, f"at {speed:.0f} m/s they need {needed}"


def _wall_margin_at(inputs: CardInputs, speed: float) -> Assessment:
    """Wall over the worst formula's thickness, and the thickness of each in words."""
    fragment = worst_fragment(inputs)
    needed = penetration.required_thicknesses(fragment.mass, speed, fragment.diameter)
    worst, _ = largest_assessment((metres, name) for name, metres in needed.items())
    return inputs.rig.box.wall / worst, ", ".join(f"{name} {1e3 * metres:.3g}" for name, metres in needed.items()) + " mm"


def persons_distance(inputs: CardInputs) -> Assessment:
    """Metres from coil and leads to the nearest person."""
    return require(inputs.rig.site, "persons_distance"), "from coil, leads and bank to the nearest person"


def persons_behind_box(inputs: CardInputs) -> Assessment:
    """Whether all stand behind the containment, which must be there."""
    require(inputs.rig.box, "wall")
    return require(inputs.rig.site, "persons_behind_box"), "a box between the coil and every person"


def hearing_protection(inputs: CardInputs) -> Assessment:
    """Whether plugs are worn under muffs."""
    protection = require(inputs.rig.site, "hearing_protection")
    return protection == "plug and muff", f"worn: {protection}; double is plugs under muffs"


def implants_excluded(inputs: CardInputs) -> Assessment:
    """Whether nobody with an implant is in the room."""
    return require(inputs.rig.site, "implants_excluded"), "nobody with a pacemaker or another implant in the room"


def stray_field(inputs: CardInputs) -> Assessment:
    """Flux density at the nearest person over the peak that belongs to the workers' reference level."""
    distance, frequency = require(inputs.rig.site, "persons_distance"), require_shot(inputs).frequency
    if frequency is None:
        raise MissingInput("[run] end_time beyond the first current zero, which gives the frequency")
    try:
        level = exposure.peak_reference_level(frequency)
    except ValueError as error:
        raise MissingInput(f"a frequency in ICNIRP's table: {error}") from None
    field = exposure.dipole_field(stray_magnetic_moment(inputs), distance)
    return field / level, (f"{display(field, 'T')} on the axis at {distance:g} m, peak, of leads and coil together; the workers' level at "
                           f"{display(frequency, 'Hz')} is {display(level, 'T')} as a peak")


def sound_level(inputs: CardInputs) -> Assessment:
    """Peak level in dB at the nearest person's ears, all energy as a blast, behind box and hearing protection."""
    distance, protection = require(inputs.rig.site, "persons_distance", "hearing_protection")
    require(inputs.rig.box, "wall")
    level = sound.peak_sound_level(sound.blast_pressure(total_bank_energy(inputs.rig), distance))
    ears = sound.DOUBLE_PROTECTION if protection == "plug and muff" else 0.0
    return level - sound.BOX_ATTENUATION - ears, (
        f"{level:.0f} dB at {distance:g} m in the open if all energy were blast, less {sound.BOX_ATTENUATION:g} dB of a closed box and "
        f"{ears:g} dB of {protection} (common practice)")


RULES = (
    Rule(name="wall_margin", quantity="wall over what the worst formula needs", sense=AT_LEAST, limit=2.0,
         evaluate=wall_margin, hard=True, source=penetration.SOURCE),
    Rule(name="wall_margin_fast", quantity="the same at twice the speed", sense=AT_LEAST, limit=1.0,
         evaluate=wall_margin_fast, hard=True, source=penetration.SOURCE),
    Rule(name="persons_distance", quantity="distance of persons", sense=AT_LEAST, limit=3.0,
         evaluate=persons_distance, hard=True, source=CASE_FILE, unit="m"),
    Rule(name="persons_behind_box", quantity="persons behind the box", sense=MUST_BE, limit=True,
         evaluate=persons_behind_box, hard=True, source=CASE_FILE),
    Rule(name="hearing_protection", quantity="double hearing protection", sense=MUST_BE, limit=True,
         evaluate=hearing_protection, hard=True, source=CASE_FILE),
    Rule(name="implants_excluded", quantity="implants out of the room", sense=MUST_BE, limit=True,
         evaluate=implants_excluded, hard=True, source=CASE_FILE),
    Rule(name="stray_field", quantity="stray field over the workers' level", sense=AT_MOST, limit=1.0,
         evaluate=stray_field, hard=False, source=CLOSED_FORM, limit_source=exposure.ICNIRP_SOURCE, reads="shot"),
    Rule(name="sound_level", quantity="peak sound at the ears", sense=AT_MOST, limit=140.0,
         evaluate=sound_level, hard=False, source=sound.BLAST_SOURCE, unit="dB", limit_source=sound.PEAK_SOURCE),
)
