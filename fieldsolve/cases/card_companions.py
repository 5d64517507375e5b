"""What a rig's card takes beside a shot: the empty coils' inductance and a shot with the metal held, kept with the shot."""
from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import TYPE_CHECKING

from fieldsolve.cases.case_file import Case, read_rig
from fieldsolve.cases.solve import RigShots, solve_case_shot
from fieldsolve.field.system.coefficients import is_magnetic
from fieldsolve.field.transient.meshing import coarsened_mesh
from fieldsolve.rig.coil import empty_inductance, empty_inductance_on

if TYPE_CHECKING:
    from fieldsolve.shot.result.shot import Shot
    from geometries.parts import Part

HELD_SHOT, COIL_INDUCTANCE = "held shot", "coil inductance"         # names of the companions
HELD_SHOT_ACCURACY = 5e-2        # what the card takes of it is less than 2 % off in 51 of 57 random rigs, and 4.3 % at worst
MESH_ORDER = 4                   # power of the size of all cells with which what a mesh gets wrong of currents and forces grows


def with_card_companions(case: Case, shot: Shot, solve: Callable[..., Shot] = solve_case_shot) -> Shot:
    """A case's shot with what its rig's card takes beside it, computed where it was not.

    solve  computes a shot as `solve_case_shot` does; the held one has no error bounds, for the card reads none
    """
    companions, coils = dict(shot.companions), read_rig(case).coils
    if HELD_SHOT not in companions and not shot.held:
        accuracy = max(shot.accuracy, HELD_SHOT_ACCURACY)
        mesh = coarsened_mesh(case.section, shot.instants[0].mesh, (accuracy / shot.accuracy) ** (1 / MESH_ORDER))
        companions[HELD_SHOT] = solve(case, accuracy, held=True, mesh=mesh, error_bounds=False)
    if COIL_INDUCTANCE not in companions and coils:
        companions[COIL_INDUCTANCE] = _empty_inductance(companions.get(HELD_SHOT, shot), coils)
    return replace(shot, companions=companions)


def _empty_inductance(shot: Shot, coils: tuple[Part, ...]) -> float:
    """On the shot's first mesh, which is fine enough unless turns are magnetic: their skin at a bridge's small current is thinner."""
    if any(is_magnetic(shot.section, coil.name) for coil in coils):
        return empty_inductance(shot.section, coils)
    return empty_inductance_on(shot.instants[0].mesh, shot.section, coils)


def card_shots(shot: Shot) -> RigShots:
    """A shot and what was kept beside it, as the card takes them."""
    held, moving = (shot, None) if shot.held else (shot.companions.get(HELD_SHOT), shot)
    return RigShots(held, moving, shot.companions.get(COIL_INDUCTANCE))
