"""A body of a shot that flows plastically: its cells carry the field's nodes and take over their forces and heat."""
from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from fieldsolve.bounds import is_finite_number
from fieldsolve.materials.heat_content import heat_content
from fieldsolve.motion.constitutive.temperature import temperature_from_enthalpy
from fieldsolve.motion.contract import NO_ENERGY, Body, MotionEnergy
from fieldsolve.motion.plastic_flow.conservative_transfer import ConservativeTransfer, build_transfer
from fieldsolve.motion.plastic_flow.explicit_step import advance_solid
from fieldsolve.motion.plastic_flow.profile import radii, thicknesses
from fieldsolve.motion.plastic_flow.quad_mesh import InterpolationPoints, grid_lines, interpolation_points, mesh_parts
from fieldsolve.motion.plastic_flow.solid import Solid, SolidState, build_solid, solid_at_rest, solid_energy
from geometries.errors import InputError
from geometries.keywords import known_keywords
from geometries.parts import Part


@dataclass(frozen=True, eq=False)
class FlowMotionState:
    """A body that flows at one instant.

    solid          what it is made of, and solid_state the state it is in
    interpolation  how the field's nodes lie in its cells
    transfer       what the field's triangles share with the cells
    heat           (triangles,) J of plastic heat since the start
    energy         where the work done on the body is
    """

    solid: Solid
    solid_state: SolidState
    interpolation: InterpolationPoints
    transfer: ConservativeTransfer
    heat: np.ndarray
    energy: MotionEnergy = NO_ENERGY


@known_keywords
@dataclass(frozen=True)
class FlowMotion:
    """Elastic-plastic flow of a disc, washer, clad disc, ring and core or tube, under the force of the field and its own inertia.

    Parameters
    ----------
    fineness : float, optional
        2 halves the cells.

    Raises
    ------
    InputError
        For a fineness that is not a finite number larger than 0.

    Notes
    -----
    Every zone's material needs `mechanical=` and what heating needs.  The flow stress sees the heat of current and of plastic work,
    the latter also where the shot itself is run without heating.

    Examples
    --------
    >>> FlowMotion().refined()
    FlowMotion(fineness=2.0)
    """

    fineness: float = 1.0

    def __post_init__(self) -> None:
        if not (is_finite_number(self.fineness) and self.fineness > 0):
            raise InputError(f"fineness = {self.fineness!r}: give a finite number larger than 0, such as 1, or 2 for cells half as large")

    @property
    def mass(self) -> None:
        """From the densities of the metal."""
        return None

    def max_cell_size(self, part: Part) -> float:
        """Any size will do."""
        return math.inf

    def refined(self, factor: float = 2.0) -> FlowMotion:
        """The same motion with cells of 1/factor of the size."""
        return replace(self, fineness=factor * self.fineness)

    def grid(self, part: Part) -> tuple[tuple[float, ...], tuple[float, ...]]:
        """Lines r and z in m between the cells, which no triangle of the field may cross; InputError for zones that are not rectangles."""
        r, z = grid_lines(part, self.fineness)
        return tuple(r.tolist()), tuple(z.tolist())

    def initial_state(self, body: Body) -> FlowMotionState:
        """State at the start.  Raises InputError where a metal has no mechanical data or the body's zones are not rectangles."""
        for zone, metal in zip(body.part.zones, body.materials, strict=True):
            if metal.mechanical is None:
                raise InputError(f"motion of {body.name}: {metal.name} in {zone.name} has no mechanical data: give "
                                 "fs.Material(mechanical=...), hold the body still, or let it move as a rigid body with fs.AxialMotion()")
        mesh = mesh_parts([body.part], self.fineness)
        solid = build_solid(mesh, [metal.mechanical for metal in body.materials], [heat_content(metal) for metal in body.materials])
        interpolation, transfer = interpolation_points(mesh, body.initial_positions, body.edge_ends), build_transfer(mesh, body.triangles)
        return FlowMotionState(solid, solid_at_rest(solid), interpolation, transfer, np.zeros(len(body.triangles)))

    def positions(self, body: Body, state: FlowMotionState, time: float) -> np.ndarray:
        """Positions (k, 2) of the body's nodes in m."""
        return np.einsum("pk,pkc->pc", state.interpolation.weights, state.solid_state.positions[state.interpolation.nodes])

    def advance(self, body: Body, state: FlowMotionState, time: float, length: float, before: np.ndarray, after: np.ndarray,
                heat: np.ndarray | float = 0.0) -> FlowMotionState:
        """State `length` seconds later, under ohmic heat in W of each field triangle.  Raises MotionEnd where the cells cannot go on."""
        heating = state.transfer.to_cells(np.broadcast_to(heat, len(body.triangles)))
        advanced = advance_solid(
            state.solid, state.solid_state, (_scatter_forces(state, before), _scatter_forces(state, after)), heating, length
        )
        return replace(
            state,
            solid_state=advanced.state,
            heat=state.heat + state.transfer.to_triangles(advanced.plastic_heat),
            energy=solid_energy(state.solid, advanced.state),
        )

    def heated(self, body: Body, state: FlowMotionState, energy: np.ndarray) -> FlowMotionState:
        """The state with more heat in J of each field triangle, by which the cells are hotter."""
        enthalpy = state.solid_state.enthalpy + state.transfer.to_cells(energy) / state.solid.reference_geometry.volume
        return replace(state, solid_state=replace(state.solid_state, enthalpy=enthalpy))

    def observables(self, state: FlowMotionState) -> dict[str, float]:
        """Series beside the energies: thicknesses, hole and drift along z in m, speeds in m/s, plastic strain and its rate, temperature.

        drift, axial_speed and flow_temperature are means over the mass, mean_plastic_strain over the volume, the others are the largest;
        plastic_energy and viscous_energy are J since the start, and so is plastic_heat, the part of the first that became heat
        """
        mesh, solid_state, mass = state.solid.mesh, state.solid_state, state.solid.reference_geometry.volume * state.solid.density
        name = mesh.zones[0][0]
        temperature = temperature_from_enthalpy(state.solid.heat_contents, solid_state.enthalpy)
        thick = {f"{place.replace('-', '_')}_thickness": value for place, value in thicknesses(mesh, solid_state.positions, name).items()}
        return thick | {
            "inner_radius": radii(mesh, solid_state.positions, name)[0],
            "speed": float(np.linalg.norm(solid_state.velocities, axis=1).max()),
            "drift": float((state.solid.mass * (solid_state.positions - mesh.nodes)[:, 1]).sum() / state.solid.mass.sum()),
            "axial_speed": float((state.solid.mass * solid_state.velocities[:, 1]).sum() / state.solid.mass.sum()),
            "plastic_strain": float(solid_state.plastic_strain.max()),
            "mean_plastic_strain": float(
                np.average(solid_state.plastic_strain.mean(axis=0), weights=state.solid.reference_geometry.volume)
            ),
            "strain_rate": float(solid_state.strain_rate.max()),
            "plastic_heat": float(state.heat.sum()),
            "plastic_energy": float(solid_state.plastic_work.sum()),
            "viscous_energy": float(solid_state.viscous_work.sum()),
            "flow_temperature": float((mass * temperature).sum() / mass.sum()),
        }


def _scatter_forces(state: FlowMotionState, forces: np.ndarray) -> np.ndarray:
    """Forces on the field's nodes (k, 2) as forces on the cells' nodes, by the shape functions that move the field's nodes."""
    nodes, count = state.interpolation.nodes.ravel(), len(state.solid.mesh.nodes)
    return np.stack([np.bincount(nodes, (state.interpolation.weights * forces[:, axis, None]).ravel(), count) for axis in (0, 1)], axis=1)
