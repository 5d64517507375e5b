"""A coil of a shot whose turns stretch as hoops and burst."""
from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from fieldsolve.materials.heat_content import heat_content
from fieldsolve.motion.contract import NO_ENERGY, Body, MotionEnergy
from fieldsolve.motion.hoops.explicit_step import advance_hoops
from fieldsolve.motion.hoops.former import Former
from fieldsolve.motion.hoops.hoops import (
    INSULATION_FILM,
    Hoops,
    HoopState,
    build_hoops,
    forces_on_hoops,
    hoop_energy,
    hoops_at_rest,
    move_points,
)
from geometries.errors import InputError
from geometries.keywords import known_keywords
from geometries.outlines import Arc
from geometries.parts import Part

MAX_BOW = 1 / 6         # of the film between two turns, by which a curved edge may bow out; above about 1/3 the air between them folds


@dataclass(frozen=True, eq=False)
class HoopMotionState:
    """A coil at one instant.

    hoops             its turns, and hoop_state the state they are in
    turn_of_node      (nodes,) the turn that each of the field's nodes belongs to
    turn_of_triangle  (triangles,) the turn that each of the field's triangles belongs to
    heat              (triangles,) J of plastic heat since the start
    energy            where the work done on the turns is
    """

    hoops: Hoops
    hoop_state: HoopState
    turn_of_node: np.ndarray
    turn_of_triangle: np.ndarray
    heat: np.ndarray
    energy: MotionEnergy = NO_ENERGY


@known_keywords
@dataclass(frozen=True)
class HoopMotion:
    """Turns that stretch elastically and plastically and move along r and z, each keeping its volume and the shape of its section.

    Parameters
    ----------
    former : Former, optional
        What the coil is wound on or cast in.

    Examples
    --------
    >>> HoopMotion(Former(mass=0.1, strength=50e3)).former.strength
    50000.0
    """

    former: Former | None = None

    @property
    def mass(self) -> None:
        """From the densities of the metal."""
        return None

    def grid(self, part: Part) -> None:
        """No lines: the turns have no cells of their own."""
        return None

    def refined(self, factor: float = 2.0) -> HoopMotion:
        """The same motion: the turns have no cells of their own."""
        return self

    def max_cell_size(self, part: Part) -> float:
        """Largest cell L in m at the surface of round turns: the bow L^2/(8 r) of its edges is a fraction of the film between them."""
        arcs = [min(edge.semi_axes) for zone in part.zones for edge in zone.outline.edges if isinstance(edge, Arc)]
        return 4 * math.sqrt(MAX_BOW * INSULATION_FILM) * min(arcs, default=math.inf)

    def initial_state(self, body: Body) -> HoopMotionState:
        """State at the start.  Raises InputError for a winding of strands, a disc, and metal without mechanical data."""
        metal = body.materials[0]
        if body.part.stranded:
            raise InputError(f"motion of {body.name}: a stranded winding does not stretch as turns do; hold it still")
        if body.initial_positions[:, 0].min() <= 0 or any(other.mechanical != metal.mechanical for other in body.materials):
            raise InputError(f"motion of {body.name}: only turns of one metal round the axis stretch as hoops; give a disc fs.FlowMotion()")
        if metal.mechanical is None:
            raise InputError(f"motion of {body.name}: {metal.name} has no mechanical data: give "
                             "fs.Material(mechanical=...) or hold it still")
        hoops = build_hoops([body.part], [metal.mechanical], [heat_content(metal)], {body.name: self.former} if self.former else None)
        return HoopMotionState(
            hoops,
            hoops_at_rest(hoops),
            _locate_turns(hoops, body.initial_positions),
            _locate_turns(hoops, body.triangles.mean(axis=1)),
            np.zeros(len(body.triangles)),
        )

    def positions(self, body: Body, state: HoopMotionState, time: float) -> np.ndarray:
        """Positions (k, 2) of the body's nodes in m."""
        return move_points(state.hoops, state.hoop_state.positions, state.turn_of_node, body.initial_positions)

    def advance(self, body: Body, state: HoopMotionState, time: float, length: float, before: np.ndarray, after: np.ndarray,
                heat: np.ndarray | float = 0.0) -> HoopMotionState:
        """State `length` seconds later, under ohmic heat in W of each triangle."""
        hoops, count = state.hoops, len(state.hoops.mass)
        heating = np.bincount(state.turn_of_triangle, np.broadcast_to(heat, len(body.triangles)), count)
        positions = state.hoop_state.positions, state.hoop_state.positions + length * state.hoop_state.velocities
        forces = [
            forces_on_hoops(hoops, at, state.turn_of_node, body.initial_positions, loads)
            for at, loads in zip(positions, (before, after), strict=True)
        ]
        advanced = advance_hoops(hoops, state.hoop_state, (forces[0], forces[1]), heating, length)
        a, b, c = np.moveaxis(body.triangles, 1, 0)
        volume = np.abs((b - a)[:, 0] * (c - a)[:, 1] - (b - a)[:, 1] * (c - a)[:, 0]) * (a + b + c)[:, 0]
        share = volume / np.bincount(state.turn_of_triangle, volume, count)[state.turn_of_triangle]
        return replace(
            state,
            hoop_state=advanced.state,
            heat=state.heat + share * advanced.plastic_heat[state.turn_of_triangle],
            energy=hoop_energy(hoops, advanced.state),
        )

    def heated(self, body: Body, state: HoopMotionState, energy: np.ndarray) -> HoopMotionState:
        """The state with more heat in J of each triangle, by which the turns are hotter."""
        of_turns = np.bincount(state.turn_of_triangle, energy, len(state.hoops.mass)) / state.hoops.volume
        return replace(state, hoop_state=replace(state.hoop_state, enthalpy=state.hoop_state.enthalpy + of_turns))

    def observables(self, state: HoopMotionState) -> dict[str, float]:
        """Series beside the energies, the largest of all turns: radius of the middle in m, speed in m/s, hoop strain and plastic strain.

        strain_rate is plastic, 1/s; plastic_energy, and lost_energy of contacts and a broken former, are J since the start, and so is
        plastic_heat, the part of the first that became heat
        """
        hoop_state = state.hoop_state
        strain = np.log(hoop_state.positions[:, 0] / state.hoops.positions[:, 0])
        return {"radius": float(hoop_state.positions[:, 0].max()), "speed": float(np.linalg.norm(hoop_state.velocities, axis=1).max()),
                "hoop_strain": float(strain.max()), "plastic_strain": float(hoop_state.plastic_strain.max()),
                "strain_rate": float(hoop_state.strain_rate.max()), "plastic_energy": float(hoop_state.plastic_work.sum()),
                "lost_energy": float(hoop_state.contact_loss + hoop_state.former_loss), "plastic_heat": float(state.heat.sum())}


def _locate_turns(hoops: Hoops, points: np.ndarray) -> np.ndarray:
    """The turn (points,) in which, or on whose outline, each point (points, 2) at rest lies."""
    return np.abs((points[:, None] - hoops.positions) / hoops.rest_half_widths).max(axis=2).argmin(axis=1)
