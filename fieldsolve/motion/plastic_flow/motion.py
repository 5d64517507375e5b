"""A body of a shot that flows plastically: the field's nodes ride on its cells, forces and heat are handed on to them."""
from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from fieldsolve.materials.heat_content import heat_content
from fieldsolve.motion.constitutive.temperature import temperature_of
from fieldsolve.motion.plastic_flow.conservative_transfer import Overlap, overlap
from fieldsolve.motion.plastic_flow.explicit_step import advance
from fieldsolve.motion.plastic_flow.profile import radii, thicknesses
from fieldsolve.motion.plastic_flow.quad_mesh import Riders, lines_of, quad_mesh, riders
from fieldsolve.motion.plastic_flow.solid import Solid, SolidState, at_rest, energy, solid_of
from fieldsolve.motion.rigid import Body
from geometries.errors import InputError
from geometries.parts import Part


@dataclass(frozen=True, eq=False)
class FlowState:
    """A body that flows at one instant.

    solid, now   what it is made of and the state it is in
    ridden       how the field's nodes lie in its cells
    pieces       what the field's triangles share with the cells
    heat         (triangles,) J of plastic heat since the start
    kinetic, elastic now; dissipated (plastic and viscous) and ohmic since the start, J; potential and external are none
    """

    solid: Solid
    now: SolidState
    ridden: Riders
    pieces: Overlap
    heat: np.ndarray
    kinetic: float = 0.0
    elastic: float = 0.0
    dissipated: float = 0.0
    potential: float = 0.0
    external: float = 0.0


@dataclass(frozen=True)
class FlowMotion:
    """Elastic-plastic flow of a disc, washer, clad disc, ring and core or tube, under the force of the field and its own inertia.

    Every zone's material needs `mechanical=` and what heating asks for; the flow stress sees the heat of current and plastic work,
    the latter also where the shot itself is run without heating.

    fineness  2 halves the cells
    """

    fineness: float = 1.0
    mass = None             # from the metal's density

    def __post_init__(self) -> None:
        if not (math.isfinite(self.fineness) and self.fineness > 0):
            raise InputError(f"fineness = {self.fineness!r}: give a finite number larger than 0, such as 1, or 2 for cells half as large")

    def grid(self, part: Part) -> tuple[tuple[float, ...], tuple[float, ...]]:
        """Lines r and z in m between the cells, which no triangle of the field may cross; InputError for zones that are not rectangles."""
        return tuple(tuple(lines.tolist()) for lines in lines_of(part, self.fineness))

    def state(self, body: Body) -> FlowState:
        """State at the start.  Raises InputError where a metal has no mechanical data or the body's zones are not rectangles."""
        for zone, metal in zip(body.part.zones, body.materials, strict=True):
            if metal.mechanical is None:
                raise InputError(f"motion of {body.name}: {metal.name} in {zone.name} has no mechanical data: give "
                                 "fs.Material(mechanical=...), hold the body still, or let it move as one with fs.AxialMotion()")
        mesh = quad_mesh([body.part], self.fineness)
        solid = solid_of(mesh, [metal.mechanical for metal in body.materials], [heat_content(metal) for metal in body.materials])
        ridden, pieces = riders(mesh, body.start, body.ends), overlap(mesh, body.triangles)
        return FlowState(solid, at_rest(solid), ridden, pieces, np.zeros(len(body.triangles)))

    def places(self, body: Body, state: FlowState, time: float) -> np.ndarray:
        """Places of the body's nodes; shape (k, 2)."""
        return np.einsum("pk,pkc->pc", state.ridden.weights, state.now.positions[state.ridden.nodes])

    def advanced(self, body: Body, state: FlowState, time: float, length: float, before: np.ndarray, after: np.ndarray,
                 heat: np.ndarray | float = 0.0) -> FlowState:
        """State `length` seconds later, under ohmic heat in W of each field triangle.  Raises MotionEnd where the cells cannot go on."""
        heating = state.pieces.to_cells(np.broadcast_to(heat, len(body.triangles)))
        done = advance(state.solid, state.now, (_handed_on(state, before), _handed_on(state, after)), heating, length)
        spent = energy(state.solid, done.state)
        return replace(state, now=done.state, heat=state.heat + state.pieces.to_triangles(done.plastic_heat), kinetic=spent.kinetic,
                       elastic=spent.elastic, dissipated=spent.plastic + spent.viscous)

    def readings(self, state: FlowState) -> dict[str, float]:
        """Series beside the energies: thicknesses, hole and drift along z in m, speeds in m/s, plastic strain and its rate, temperature.

        drift, axial_speed and flow_temperature are means over the mass, mean_plastic_strain over the volume, the others the largest;
        plastic_energy and viscous_energy are J since the start, and so plastic_heat, the part of the first that became heat
        """
        mesh, now, mass = state.solid.mesh, state.now, state.solid.rest.volume * state.solid.density
        name = mesh.zones[0][0]
        temperature = temperature_of(state.solid.contents, now.enthalpy)
        thick = {f"{place.replace('-', '_')}_thickness": value for place, value in thicknesses(mesh, now.positions, name).items()}
        return thick | {"inner_radius": radii(mesh, now.positions, name)[0],
                        "speed": float(np.linalg.norm(now.velocities, axis=1).max()),
                        "drift": float((state.solid.mass * (now.positions - mesh.nodes)[:, 1]).sum() / state.solid.mass.sum()),
                        "axial_speed": float((state.solid.mass * now.velocities[:, 1]).sum() / state.solid.mass.sum()),
                        "plastic_strain": float(now.plastic_strain.max()),
                        "mean_plastic_strain": float(np.average(now.plastic_strain.mean(axis=0), weights=state.solid.rest.volume)),
                        "strain_rate": float(now.strain_rate.max()), "plastic_heat": float(state.heat.sum()),
                        "plastic_energy": float(now.plastic_work.sum()), "viscous_energy": float(now.viscous_work.sum()),
                        "flow_temperature": float((mass * temperature).sum() / mass.sum())}


def _handed_on(state: FlowState, forces: np.ndarray) -> np.ndarray:
    """Forces on the field's nodes (k, 2) as forces on the cells' nodes, by the shape functions that move the field's nodes."""
    nodes, count = state.ridden.nodes.ravel(), len(state.solid.mesh.nodes)
    return np.stack([np.bincount(nodes, (state.ridden.weights * forces[:, axis, None]).ravel(), count) for axis in (0, 1)], axis=1)
