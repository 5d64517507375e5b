"""Checks of what protects people: the wall of the box, the distance, hearing, implants, the stray field."""
from __future__ import annotations

from dataclasses import replace

from fieldsolve.rig.checks.rule import AT_LEAST, AT_MOST, MUST_BE, Assessment, Rule, largest_assessment
from fieldsolve.rig.coil import coil_mass, turn_masses
from fieldsolve.rig.formulas import exposure, penetration, sound
from fieldsolve.rig.formulas.fragments import Fragment, lump_diameter, speed_bound
from fieldsolve.rig.rig import Rig, require_shot, stray_magnetic_moment, total_bank_energy, total_turns
from fieldsolve.rig.source import CASE_FILE, CLOSED_FORM
from fieldsolve.rig.tables import MissingInput, require
from fieldsolve.units import display


def worst_fragment(rig: Rig) -> Fragment:
    """The fragment the box must hold: the one told, or else the heaviest turn, at the fastest of the speeds known, which are all named.

    A computed or told speed below the one the bank's energy bounds is shown beside it and never takes its place.
    """
    (speed, reason), *slower_speeds = sorted(_possible_speeds(rig), reverse=True)
    reason = "; ".join([reason, *(f"{source} {slower_speed:.0f} m/s" for slower_speed, source in slower_speeds)])
    if rig.fragment is not None:
        return replace(rig.fragment, speed=speed, reason=reason)
    mass, density = max((mass, zone.material.density) for coil in rig.coils
                        for mass, zone in zip(turn_masses(coil), coil.zones, strict=True))
    mass = rig.box.fragment_mass or mass
    return Fragment(mass, speed, rig.box.fragment_diameter or lump_diameter(mass, density), reason)


def energy_speed_bound(rig: Rig) -> float:
    """Speed in m/s of the coils if all the banks' energy moved them."""
    total_turns(rig)
    return speed_bound(total_bank_energy(rig), sum(coil_mass(coil) for coil in rig.coils))


def _possible_speeds(rig: Rig) -> list[tuple[float, str]]:
    """Speeds in m/s a fragment may have, and where each comes from."""
    found = [(energy_speed_bound(rig), "all the bank's energy in the coil")]
    if rig.moving_shot is not None:
        found.append((rig.moving_shot.largest_speed, "fastest turn of the computed shot with moving metal"))
    if rig.fragment is not None:
        found.append((rig.fragment.speed, rig.fragment.reason))
    return found


def wall_margin(rig: Rig) -> Assessment:
    """Wall over the thickness that the worst formula needs at the fragment's speed."""
    wall, material = require(rig.box, "wall", "material")
    fragment = worst_fragment(rig)
    margin, needed = _wall_margin_at(rig, fragment.speed)
    return margin, (f"{display(wall, 'm')} of {material}; {1e3 * fragment.mass:.3g} g with a face of "
                    f"{display(fragment.diameter, 'm')} at {fragment.speed:.0f} m/s ({fragment.reason}) need {needed}; a straight wire "
                    "end-on goes deeper")


def wall_margin_fast(rig: Rig) -> Assessment:
    """The same at twice the fragment's speed, for jets push bits faster than the whole."""
    require(rig.box, "wall", "material")
    speed = 2 * worst_fragment(rig).speed
    margin, needed = _wall_margin_at(rig, speed)
    return margin, f"at {speed:.0f} m/s they need {needed}"


def _wall_margin_at(rig: Rig, speed: float) -> Assessment:
    """Wall over the worst formula's thickness, and the thickness of each in words."""
    fragment = worst_fragment(rig)
    needed = penetration.required_thicknesses(fragment.mass, speed, fragment.diameter)
    worst, _ = largest_assessment((metres, name) for name, metres in needed.items())
    return rig.box.wall / worst, ", ".join(f"{name} {1e3 * metres:.3g}" for name, metres in needed.items()) + " mm"


def persons_distance(rig: Rig) -> Assessment:
    """Metres from coil and leads to the nearest person."""
    return require(rig.site, "persons_distance"), "from coil, leads and bank to the nearest person"


def persons_behind_box(rig: Rig) -> Assessment:
    """Whether all stand behind the containment, which must be there."""
    require(rig.box, "wall")
    return require(rig.site, "persons_behind_box"), "a box between the coil and every person"


def hearing_protection(rig: Rig) -> Assessment:
    """Whether plugs are worn under muffs."""
    protection = require(rig.site, "hearing_protection")
    return protection == "plug and muff", f"worn: {protection}; double is plugs under muffs"


def implants_excluded(rig: Rig) -> Assessment:
    """Whether nobody with an implant is in the room."""
    return require(rig.site, "implants_excluded"), "nobody with a pacemaker or another implant in the room"


def stray_field(rig: Rig) -> Assessment:
    """Flux density at the nearest person over the peak that belongs to the workers' reference level."""
    distance, frequency = require(rig.site, "persons_distance"), require_shot(rig).frequency
    if frequency is None:
        raise MissingInput("[run] end_time beyond the first current zero, which gives the frequency")
    try:
        level = exposure.peak_reference_level(frequency)
    except ValueError as error:
        raise MissingInput(f"a frequency in ICNIRP's table: {error}") from None
    field = exposure.dipole_field(stray_magnetic_moment(rig), distance)
    return field / level, (f"{display(field, 'T')} on the axis at {distance:g} m, peak, of leads and coil together; the workers' level at "
                           f"{display(frequency, 'Hz')} is {display(level, 'T')} as a peak")


def sound_level(rig: Rig) -> Assessment:
    """Peak level in dB at the nearest person's ears, all energy as a blast, behind box and hearing protection."""
    distance, protection = require(rig.site, "persons_distance", "hearing_protection")
    require(rig.box, "wall")
    level = sound.peak_sound_level(sound.blast_pressure(total_bank_energy(rig), distance))
    ears = sound.DOUBLE_PROTECTION if protection == "plug and muff" else 0.0
    return level - sound.BOX_ATTENUATION - ears, (
        f"{level:.0f} dB at {distance:g} m in the open if all energy were blast, less {sound.BOX_ATTENUATION:g} dB of a closed box and "
        f"{ears:g} dB of {protection} (common practice)")


RULES = (
    Rule("wall_margin", "wall over what the worst formula needs", AT_LEAST, 2.0, "", True, wall_margin, penetration.SOURCE),
    Rule("wall_margin_fast", "the same at twice the speed", AT_LEAST, 1.0, "", True, wall_margin_fast, penetration.SOURCE),
    Rule("persons_distance", "distance of persons", AT_LEAST, 3.0, "m", True, persons_distance, CASE_FILE),
    Rule("persons_behind_box", "persons behind the box", MUST_BE, True, "", True, persons_behind_box, CASE_FILE),
    Rule("hearing_protection", "double hearing protection", MUST_BE, True, "", True, hearing_protection, CASE_FILE),
    Rule("implants_excluded", "implants out of the room", MUST_BE, True, "", True, implants_excluded, CASE_FILE),
    Rule("stray_field", "stray field over the workers' level", AT_MOST, 1.0, "", False, stray_field, CLOSED_FORM, exposure.ICNIRP_SOURCE),
    Rule("sound_level", "peak sound at the ears", AT_MOST, 140.0, "dB", False, sound_level, sound.BLAST_SOURCE, sound.PEAK_SOURCE),
)
