"""Checks of what protects people: the wall of the box, the distance, hearing, implants, the stray field."""
from __future__ import annotations

from dataclasses import replace

from fieldsolve.rig.checks.rule import AT_LEAST, AT_MOST, MUST_BE, Reading, Rule, largest
from fieldsolve.rig.coil import coil_mass, turn_masses
from fieldsolve.rig.formulas import exposure, penetration, sound
from fieldsolve.rig.formulas.fragments import Fragment, bound_speed, lump_diameter
from fieldsolve.rig.rig import Rig, energy_of, shot_of, stray_moment, turns_of
from fieldsolve.rig.source import CLOSED_FORM, TOLD
from fieldsolve.rig.tables import Missing, given
from fieldsolve.units import display


def fragment_of(rig: Rig) -> Fragment:
    """The fragment the box must hold: the one told, or else the heaviest turn, at the fastest of the speeds known, which are all named.

    A computed or told speed below the one the bank's energy bounds is shown beside it and never takes its place.
    """
    (speed, reason), *slower = sorted(_speeds(rig), reverse=True)
    reason = "; ".join([reason, *(f"{why} {below:.0f} m/s" for below, why in slower)])
    if rig.fragment is not None:
        return replace(rig.fragment, speed=speed, reason=reason)
    mass, density = max((mass, zone.material.density) for coil in rig.coils
                        for mass, zone in zip(turn_masses(coil), coil.zones, strict=True))
    mass = rig.box.fragment_mass or mass
    return Fragment(mass, speed, rig.box.fragment_diameter or lump_diameter(mass, density), reason)


def energy_speed(rig: Rig) -> float:
    """Speed in m/s of the coils if all the banks' energy moved them."""
    turns_of(rig)
    return bound_speed(energy_of(rig), sum(coil_mass(coil) for coil in rig.coils))


def _speeds(rig: Rig) -> list[tuple[float, str]]:
    """Speeds in m/s a fragment may have, and where each comes from."""
    found = [(energy_speed(rig), "all the bank's energy in the coil")]
    if rig.moving is not None:
        found.append((rig.moving.fastest, "fastest turn of the computed shot with moving metal"))
    if rig.fragment is not None:
        found.append((rig.fragment.speed, rig.fragment.reason))
    return found


def wall_margin(rig: Rig) -> Reading:
    """Wall over the thickness that the worst formula needs at the fragment's speed."""
    wall, material = given(rig.box, "wall", "material")
    fragment = fragment_of(rig)
    margin, needed = _margin_at(rig, fragment.speed)
    return margin, (f"{display(wall, 'm')} of {material}; {1e3 * fragment.mass:.3g} g with a face of "
                    f"{display(fragment.diameter, 'm')} at {fragment.speed:.0f} m/s ({fragment.reason}) need {needed}; a straight wire "
                    "end-on goes deeper")


def wall_margin_fast(rig: Rig) -> Reading:
    """The same at twice the fragment's speed, for jets push bits faster than the whole."""
    given(rig.box, "wall", "material")
    speed = 2 * fragment_of(rig).speed
    margin, needed = _margin_at(rig, speed)
    return margin, f"at {speed:.0f} m/s they need {needed}"


def _margin_at(rig: Rig, speed: float) -> Reading:
    """Wall over the worst formula's thickness, and the thickness of each in words."""
    fragment = fragment_of(rig)
    needed = penetration.thicknesses(fragment.mass, speed, fragment.diameter)
    worst, _ = largest((metres, name) for name, metres in needed.items())
    return rig.box.wall / worst, ", ".join(f"{name} {1e3 * metres:.3g}" for name, metres in needed.items()) + " mm"


def persons_distance(rig: Rig) -> Reading:
    """Metres from coil and leads to the nearest person."""
    return given(rig.site, "persons_distance"), "from coil, leads and bank to the nearest person"


def persons_behind_box(rig: Rig) -> Reading:
    """Whether all stand behind the containment, which must be there."""
    given(rig.box, "wall")
    return given(rig.site, "persons_behind_box"), "a box between the coil and every person"


def hearing_protection(rig: Rig) -> Reading:
    """Whether plugs are worn under muffs."""
    worn = given(rig.site, "hearing_protection")
    return worn == "plug and muff", f"worn: {worn}; double is plugs under muffs"


def implants_excluded(rig: Rig) -> Reading:
    """Whether nobody with an implant is in the room."""
    return given(rig.site, "implants_excluded"), "nobody with a pacemaker or another implant in the room"


def stray_field(rig: Rig) -> Reading:
    """Flux density at the nearest person over the peak that belongs to the workers' reference level."""
    distance, frequency = given(rig.site, "persons_distance"), shot_of(rig).frequency
    if frequency is None:
        raise Missing("[run] end_time beyond the first current zero, which gives the frequency")
    try:
        level = exposure.peak_level(frequency)
    except ValueError as error:
        raise Missing(f"a frequency in ICNIRP's table: {error}") from None
    field = exposure.dipole_field(stray_moment(rig), distance)
    return field / level, (f"{display(field, 'T')} on the axis at {distance:g} m, peak, of leads and coil together; the workers' level at "
                           f"{display(frequency, 'Hz')} is {display(level, 'T')} as a peak")


def sound_level(rig: Rig) -> Reading:
    """Peak level in dB at the nearest person's ears, all energy as a blast, behind box and hearing protection."""
    distance, worn = given(rig.site, "persons_distance", "hearing_protection")
    given(rig.box, "wall")
    level = sound.peak_level(sound.blast_pressure(energy_of(rig), distance))
    ears = sound.DOUBLE_PROTECTION if worn == "plug and muff" else 0.0
    return level - sound.BOX_ATTENUATION - ears, (
        f"{level:.0f} dB at {distance:g} m in the open if all energy were blast, less {sound.BOX_ATTENUATION:g} dB of a closed box and "
        f"{ears:g} dB of {worn} (common practice)")


RULES = (
    Rule("wall_margin", "wall over what the worst formula needs", AT_LEAST, 2.0, "", True, wall_margin, penetration.SOURCE),
    Rule("wall_margin_fast", "the same at twice the speed", AT_LEAST, 1.0, "", True, wall_margin_fast, penetration.SOURCE),
    Rule("persons_distance", "distance of persons", AT_LEAST, 3.0, "m", True, persons_distance, TOLD),
    Rule("persons_behind_box", "persons behind the box", MUST_BE, True, "", True, persons_behind_box, TOLD),
    Rule("hearing_protection", "double hearing protection", MUST_BE, True, "", True, hearing_protection, TOLD),
    Rule("implants_excluded", "implants out of the room", MUST_BE, True, "", True, implants_excluded, TOLD),
    Rule("stray_field", "stray field over the workers' level", AT_MOST, 1.0, "", False, stray_field, CLOSED_FORM, exposure.ICNIRP_SOURCE),
    Rule("sound_level", "peak sound at the ears", AT_MOST, 140.0, "dB", False, sound_level, sound.BLAST_SOURCE, sound.PEAK_SOURCE),
)
