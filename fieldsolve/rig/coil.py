"""The coil as the workshop weighs and measures it: mass of its turns, area they span, inductance empty."""
from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING

from fieldsolve.materials.material import Material
from fieldsolve.rig.tables import MissingInput
from geometries.cross_section import CrossSection
from geometries.keywords import known_keywords
from geometries.parts import Part, Zone

if TYPE_CHECKING:
    from fieldsolve.field.harmonic.solution import HarmonicSolution
    from geometries.mesh import Mesh

BRIDGE_FREQUENCY = 10e3                  # Hz
COARSE_ACCURACY = 1e-2                   # of an inductance, from which on the first mesh has cells of twice the size


def turn_masses(coil: Part) -> tuple[float, ...]:
    """Mass in kg of a turn of each zone, the metal alone:  2 pi r A rho fill / turns, r of the section's middle.

    Raises MissingInput where the metal has no density, or a stranded coil no fill.
    """
    return tuple(_zone_mass(coil, zone) / zone.turns for zone in coil.zones)


def coil_mass(coil: Part) -> float:
    """Mass in kg of a coil's metal; raises MissingInput as `turn_masses`."""
    return sum(_zone_mass(coil, zone) for zone in coil.zones)


def _zone_mass(coil: Part, zone: Zone) -> float:
    density = getattr(zone.material, "density", None)
    if density is None:
        raise MissingInput(f"[{coil.name}] a material whose density is known")
    if coil.stranded and coil.fill is None:
        raise MissingInput(f"[{coil.name}] fill, the share of metal in its section")
    return 2 * math.pi * _mean_radius(zone) * zone.outline.area * density * (coil.fill if coil.stranded else 1.0)


def _mean_radius(zone: Zone) -> float:
    r_min, r_max, _, _ = zone.outline.bounds
    return 0.5 * (r_min + r_max)


def turn_area(coil: Part) -> float:
    """Area in m^2 that all turns of a coil span together:  sum of N pi r^2."""
    return sum(zone.turns * math.pi * _mean_radius(zone) ** 2 for zone in coil.zones)


def layer_count(coil: Part) -> int | None:
    """Layers of a solenoid or spiral, from the radii of its turns; None for a winding, whose turns are not drawn."""
    if coil.shape == "winding":
        return None
    return 1 if coil.shape == "spiral" else len({round(_mean_radius(zone), 9) for zone in coil.zones})


@known_keywords
def empty_inductance(section: CrossSection, coils: tuple[Part, ...], accuracy: float = 1e-2) -> float:
    """Inductance of coils in series, all else taken away, as a bridge measures it at 10 kHz before the disc is in.

    Parameters
    ----------
    section : CrossSection
        Of the rig.
    coils : tuple of Part
        Those of the section that the bank drives: `rig.coils`.
    accuracy : float
        Relative.

    Returns
    -------
    float
        Henry.

    Raises
    ------
    FieldError
        What `solve_harmonic` raises.

    Notes
    -----
    `solve_harmonic` refines for the field in the bores as well, from a finer first mesh: it takes twice as long.

    Examples
    --------
    >>> import fieldsolve as fs, geometries as geo
    >>> coil = geo.solenoid(turns=4, bore_radius=15.6e-3, wire_diameter=3e-3, pitch=3.3e-3, material=fs.material("copper"))
    >>> section = geo.CrossSection([coil])
    >>> print(f"{1e9 * empty_inductance(section, section.parts):.0f} nH")
    563 nH
    """
    from fieldsolve.field.adaptivity.refinement import order_for, refine, surface_cell_sizes
    from fieldsolve.field.harmonic.goals import harmonic_goals

    section, names = CrossSection(coils), tuple(coil.name for coil in coils)
    goals = tuple(f"inductance {name}" for name in names)
    refined = refine(section, lambda mesh: _with_unit_current(section, names, mesh), lambda solved: harmonic_goals(solved, (), goals),
                     accuracy, part_sizes=surface_cell_sizes(section, BRIDGE_FREQUENCY), order=order_for(accuracy),
                     scale=2.0 if accuracy >= COARSE_ACCURACY else 1.0)
    return _sum_of_inductances(refined.fine, names)


def empty_inductance_on(mesh: Mesh, section: CrossSection, coils: tuple[Part, ...]) -> float:
    """The same on a mesh of the whole section that is fine enough for a shot, in a quarter of the time; other metal counts as air."""
    names = tuple(coil.name for coil in coils)
    alone = CrossSection([part if part.name in names else _as_air(part) for part in section.parts if part.zones])
    return _sum_of_inductances(_with_unit_current(alone, names, mesh), names)


def _as_air(part: Part) -> Part:
    """A part that neither conducts nor magnetizes."""
    return replace(part, is_coil=False, zones=tuple(replace(zone, material=Material(conductivity=0.0)) for zone in part.zones))


def _with_unit_current(section: CrossSection, coils: tuple[str, ...], mesh: Mesh) -> HarmonicSolution:
    """The field of 1 A in each of the coils at the bridge's frequency."""
    from fieldsolve.field.harmonic.effective_reluctivity import solve_self_consistent
    from fieldsolve.field.harmonic.problem import HarmonicProblem
    from fieldsolve.field.system.eddy_current import eddy_system

    problem = HarmonicProblem(section, dict.fromkeys(coils, 1.0), {}, 0.0)
    return solve_self_consistent(problem, eddy_system(section, mesh), 2 * math.pi * BRIDGE_FREQUENCY)


def _sum_of_inductances(solved: HarmonicSolution, coils: tuple[str, ...]) -> float:
    return float(sum(solved.inductance(name) for name in coils))
