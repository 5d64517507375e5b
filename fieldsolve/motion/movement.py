"""All bodies that move in one shot: their positions, speeds and the mesh around them."""
from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, fields, replace

import numpy as np

from fieldsolve.constants import MU_0
from fieldsolve.field.adaptivity.refinement import PERFECT_CONDUCTOR
from fieldsolve.field.fem.quadrature import gauss_points, seven_point_rule
from fieldsolve.field.quantities.virtual_work import virtual_work_forces
from fieldsolve.field.system.coefficients import material_of
from fieldsolve.field.system.eddy_current import EddySystem
from fieldsolve.motion.contract import Body, HeatedMotion, Motion, MotionEnergy, MotionState
from fieldsolve.motion.expected_forces import ExpectedForces, ExpectedHeat, Forces, Heats, effect_of_surplus, no_forces
from fieldsolve.motion.moving_mesh.flux_transport import FluxTransport, build_flux_transport
from fieldsolve.motion.moving_mesh.moving_mesh import MovingMesh, build_moving_mesh
from fieldsolve.motion.obstacles import describe_contact, describe_obstacle
from geometries.cross_section import Section
from geometries.errors import InputError
from geometries.mesh import EDGE_NODES, EXTERIOR, Mesh
from geometries.parts import Part

STRAIGHT = 2                # instants through which the forces are extrapolated to see how much they bend in a step
LEAST_SHIFT = 1e-6          # of a body's thickness: the mesh follows the bodies once one is farther than that from its place in it
CORRECTOR_EFFECT = 2e-4     # of a body's thickness, or of the field's energy: a surplus of force that does more is integrated anew


@dataclass(frozen=True, eq=False)
class Prediction:
    """The bodies over a step of `length` seconds under the forces expected; states and meshes by time in s, that of the end included."""

    length: float
    states: dict[float, tuple[MotionState, ...]]
    meshes: dict[float, Mesh]


@dataclass(eq=False)
class Movement:
    """The running state of the moving bodies of one shot.

    mesh            the moving mesh, and current_mesh the mesh on which the field of `time` stands
    flux_transport  how the metal's nodes keep their flux
    bodies          and motions of each; `states` are those of `time`
    forces          nodal forces on each body at `time`, and what is expected of them after it
    time            s
    remesh_count    how often the air was meshed anew, and mechanics_passes how often the bodies' mechanics was integrated over a step
    heat            ohmic heat of each body's triangles at `time`, and what is expected of it after it
    """

    mesh: MovingMesh
    current_mesh: Mesh
    flux_transport: FluxTransport
    bodies: tuple[Body, ...]
    motions: tuple[Motion, ...]
    states: tuple[MotionState, ...]
    forces: ExpectedForces
    heat: ExpectedHeat
    time: float = 0.0
    remesh_count: int = 0
    mechanics_passes: int = 0
    _prediction: Prediction | None = None

    # ---- a step ahead -----------------------------------------------------------------------------------------------

    def predict(self, length: float, nodes: tuple[float, ...]) -> None:
        """Integrate the bodies once over a step of `length` seconds, through the `nodes` of its stages, the last of which is 1."""
        if self._prediction is not None and self._prediction.length == length:
            return
        forces = self.forces.over(length)
        states, found, before = self.states, {self.time: self.states}, 0.0
        for node in sorted(node for node in set(nodes) if node > 0):
            states = self._advance(states, length, (before, node), forces, self.heat.over(length))
            found[self.time + node * length], before = states, node
        self.mechanics_passes += 1
        self._prediction = Prediction(length, found, {self.time: self.current_mesh})

    def mesh_at(self, time: float) -> Mesh:
        """Mesh at the time in s of a stage of the step predicted."""
        prediction = self._prediction
        if prediction is None:
            return self.current_mesh
        if time not in prediction.meshes:
            prediction.meshes[time] = self._mesh_of(prediction.states[time], time)
        return prediction.meshes[time]

    def flux_ratio(self, before: Mesh, after: Mesh) -> np.ndarray:
        """(r_before / r_after)^2 of each node, 1 in air: by it u changes while the metal keeps its flux; shape (n,)."""
        return np.ones(before.size) if before is after else self.flux_transport.flux_ratio(before.nodes, after.nodes)

    def _end(self, length: float) -> tuple[tuple[MotionState, ...], Mesh]:
        """States and mesh predicted for the end of the step."""
        return self._prediction.states[self.time + length], self.mesh_at(self.time + length)

    def is_well_shaped(self, length: float) -> bool:
        """Whether the air's cells will still be well shaped at the end of the step predicted."""
        return self.mesh.is_well_shaped(self._end(length)[1])

    def moves_mesh(self, length: float) -> bool:
        """Whether the field's mesh is another at the end of the step predicted."""
        return self._end(length)[1] is not self.current_mesh

    def discard_prediction(self) -> None:
        """Forget the predicted positions."""
        self._prediction = None

    def describe_obstacle(self, length: float) -> str:
        """Why no mesh can be made at the end of the step predicted, in words."""
        return describe_obstacle(self.bodies, self.mesh, self.current_mesh, self._end(length)[1])

    def describe_contact(self) -> str | None:
        """What a moving body has come too near to, in words; None if nothing."""
        return describe_contact(self.bodies, self.current_mesh)

    def error(self, length: float, forces: Forces, energy: float) -> float:
        """How far the forces found at the end of the step are from a straight line in time, by what they do in it.

        The larger of the change of position in units of the bodies' thickness and the change of work in units of `energy` in J.
        """
        return self._effect(length, self.forces.surplus(self.time + length, forces, STRAIGHT), energy)

    def _effect(self, length: float, surplus: Forces, energy: float) -> float:
        """What a surplus of force at the end of the step does in it, measured as `error` says."""
        mesh = self._end(length)[1]
        errors = [0.0]
        for body, of_body in zip(self.bodies, surplus, strict=True):
            displacement = mesh.nodes[body.nodes] - self.current_mesh.nodes[body.nodes]
            moved, work = effect_of_surplus(body, of_body, displacement, length)
            errors += [moved / body.thickness, work / energy]
        return float(np.max(errors))                                    # NaN stays

    # ---- its end ----------------------------------------------------------------------------------------------------

    def start(self, forces: Forces) -> None:
        """Forces at the start."""
        self.forces = ExpectedForces((self.time,), (forces,), no_forces(self.bodies))
        self.discard_prediction()

    def accept(self, length: float, forces: Forces, energy: float, heats: tuple[np.ndarray, np.ndarray] | None = None) -> np.ndarray:
        """Move on by `length` seconds under the forces at their end; returns the plastic heat in J of each triangle meanwhile, (m,).

        Where the forces are nearly those expected, the states predicted stand, and the next step makes up for the rest.

        energy  J that work is measured by
        heats   W of ohmic heat of each triangle: mean of this step, and at its end; None: nothing heats
        """
        before, end = self._plastic_heat(), self.time + length
        states, self.current_mesh = self._end(length)
        surplus = self.forces.surplus(end, forces)
        missed = tuple(0.5 * length * of_body for of_body in surplus)
        if not self.forces.has_history or self._effect(length, surplus, energy) > CORRECTOR_EFFECT:
            first, last = self.forces.over(length)
            last = tuple(f + of_body for f, of_body in zip(last, surplus, strict=True))
            states = self._advance(self.states, length, (0.0, 1.0), (first, last), self.heat.over(length))
            missed = no_forces(self.bodies)
            self.mechanics_passes += 1
        if heats is not None:
            mean, last = (tuple(heat[body.triangle_indices] for body in self.bodies) for heat in heats)
            states = self._heated(states, self.heat.missed(length, mean))
            self.heat = self.heat.followed_by(length, last)
        self.states, self.forces, self.time = states, self.forces.followed_by(end, forces, missed), end
        self.discard_prediction()
        return self._plastic_heat() - before

    def remesh_air(self) -> None:
        """Mesh the air anew around the bodies at their current positions; what is predicted of them stands.

        Raises MeshError where the mesher fails.
        """
        self.mesh = self.mesh.remeshed(self.current_mesh)
        self.current_mesh, self.remesh_count = self.mesh.reference_mesh, self.remesh_count + 1
        if self._prediction is not None:
            self._prediction = replace(self._prediction, meshes={self.time: self.current_mesh})

    def virtual_work_forces_on_bodies(self, system: EddySystem, u: np.ndarray, applied_field: float) -> np.ndarray:
        """Forces by the energy of the field u, solved beside a steady applied field in tesla, on the nodes of all bodies; (kept, 2), N."""
        points = seven_point_rule(system.mesh, np.flatnonzero(system.mesh.region != EXTERIOR))
        return self.mesh.gather_forces(virtual_work_forces(system, points, self.flux_transport.metal, u, u + 0.5 * applied_field))

    def body_forces(self) -> dict[str, tuple[float, float]]:
        """Radial and axial force in N at `time` on each body whose nodal forces are J x B, or by virtual work on magnetic metal."""
        return {body.name: tuple(nodal.sum(axis=0).tolist())
                for body, nodal in zip(self.bodies, self.forces.forces[0], strict=True) if not body.perfectly_conducting}

    def observables(self) -> dict[tuple[str, str], float]:
        """Positions, speeds and energies of each body by (quantity, part); lowest and highest are z of its ends in m."""
        found: dict[tuple[str, str], float] = {}
        for body in self.bodies:
            r, z = self.current_mesh.nodes[body.nodes].T
            found |= {(quantity, body.name): float(value)
                      for quantity, value in (("outer_radius", r.max()), ("lowest", z.min()), ("highest", z.max()))}
        for body, motion, state in zip(self.bodies, self.motions, self.states, strict=True):
            found |= {(quantity, body.name): value for quantity, value in motion.observables(state).items()}
            found |= {(f"{entry.name}_energy", body.name): getattr(state.energy, entry.name) for entry in fields(MotionEnergy)}
        return found

    def _plastic_heat(self) -> np.ndarray:
        """J of plastic heat of each of the mesh's triangles since the start; shape (m,)."""
        joule = np.zeros(len(self.current_mesh.triangles))
        for body, state in zip(self.bodies, self.states, strict=True):
            joule[body.triangle_indices] += state.heat
        return joule

    def _advance(self, states: tuple[MotionState, ...], length: float, part: tuple[float, float], forces: tuple[Forces, Forces],
                 heats: Heats) -> tuple[MotionState, ...]:
        """States at the end of a part of a step of `length` seconds, forces going straight from its start to its end."""
        start, end = part
        found = []
        for motion, body, state, first, last, heat in zip(self.motions, self.bodies, states, *forces, heats, strict=True):
            before, after = (first + share * (last - first) for share in part)
            found.append(motion.advance(body, state, self.time + start * length, (end - start) * length, before, after, heat))
        return tuple(found)

    def _heated(self, states: tuple[MotionState, ...], energy: Heats) -> tuple[MotionState, ...]:
        """States with more heat in J in each body's triangles, of the bodies whose motion takes note of it."""
        return tuple(motion.heated(body, state, joule) if isinstance(motion, HeatedMotion) else state
                     for motion, body, state, joule in zip(self.motions, self.bodies, states, energy, strict=True))

    def _mesh_of(self, states: tuple[MotionState, ...], time: float) -> Mesh:
        """Mesh with the bodies in these states: the current one, and its matrices with it, until a body has gone LEAST_SHIFT from it."""
        here = self.current_mesh.nodes[:self.mesh.kept_count]
        nodes, is_moved = here.copy(), False
        for body, motion, state in zip(self.bodies, self.motions, states, strict=True):
            nodes[body.nodes] = motion.positions(body, state, time)
            shift = np.abs(nodes[body.nodes] - here[body.nodes]).max()
            is_moved |= not shift <= LEAST_SHIFT * body.thickness       # NaN counts as moved
        return self.mesh.deformed(nodes) if is_moved else self.current_mesh


def build_movement(section: Section, mesh: Mesh, motions: Mapping[str, Motion], end_time: float) -> Movement:
    """The bodies of a section at their initial positions, for a shot of `end_time` seconds.  Raises InputError for an impossible motion."""
    moving = build_moving_mesh(mesh, motions)
    bodies = tuple(_body(section, moving.reference_mesh, name, motion, end_time) for name, motion in motions.items())
    states = tuple(motion.initial_state(body) for motion, body in zip(motions.values(), bodies, strict=True))
    return Movement(
        mesh=moving,
        current_mesh=moving.reference_mesh,
        flux_transport=build_flux_transport(moving.reference_mesh),
        bodies=bodies,
        motions=tuple(motions.values()),
        states=states,
        forces=ExpectedForces((0.0,), (no_forces(bodies),), no_forces(bodies)),
        heat=ExpectedHeat((0.0,) * len(bodies), (0.0,) * len(bodies)),
    )


def _body(section: Section, mesh: Mesh, name: str, motion: Motion, end_time: float) -> Body:
    if not isinstance(motion, Motion):
        raise InputError(f"motion of {name}: expected fs.AxialMotion(...), fs.RadialMotion(...), fs.PrescribedMotion(...), "
                         f"fs.FlowMotion(...), fs.HoopMotion(...) or another motion, got {motion!r}")
    part = section.part(name)
    materials = [material_of(section, name, k) for k in range(len(part.zones))]
    if any(m is not None and m.remanence for m in materials):
        raise InputError(f"motion of {name}: its metal is a magnet, whose field a shot does not follow; hold it still")
    triangles = mesh.part_triangles(name)
    points = gauss_points(mesh, triangles)
    area, volumes = points.dA.sum(), 2 * math.pi * (points.r * points.dA).sum(axis=1)
    nodes = np.unique(mesh.triangles[triangles])
    sigma = 0.0 if part.stranded else min(m.conductivity for m in materials)
    perfectly_conducting = sigma > 0 and math.sqrt(end_time / (MU_0 * sigma)) < PERFECT_CONDUCTOR * np.ptp(mesh.nodes[nodes], axis=0).min()
    return Body(
        name=name,
        nodes=nodes,
        initial_positions=mesh.nodes[nodes],
        mass=_mass(mesh, part, materials, volumes, motion),
        volume=float(volumes.sum()),
        radius=float((points.r * points.dA).sum() / area),
        height=float((points.z * points.dA).sum() / area),
        perfectly_conducting=bool(perfectly_conducting),
        edge_ends=_edge_ends(mesh, triangles, nodes),
        part=part,
        materials=tuple(materials),
        triangles=mesh.corners[triangles],
        triangle_indices=triangles,
    )


def _edge_ends(mesh: Mesh, triangles: np.ndarray, nodes: np.ndarray) -> np.ndarray:
    """Positions (k, 2, 2) in m of both ends of the edge whose middle each node is, of a corner twice its own."""
    ends = np.stack([nodes, nodes], axis=1)
    edges = mesh.triangles[triangles][:, EDGE_NODES].reshape(-1, 3)
    ends[np.searchsorted(nodes, edges[:, 2])] = edges[:, :2]
    return mesh.nodes[ends]


def _mass(mesh: Mesh, part: Part, materials: list, volumes: np.ndarray, motion: Motion) -> float:
    if motion.mass is not None:
        return float(motion.mass)
    if any(m is None or m.density is None for m in materials):
        raise InputError(f"motion of {part.name}: its metal has no density: give mass= in kg, or fs.Material(density=...)")
    zones = mesh.zone_triangles(part.name)
    density = np.concatenate([np.full(len(zone), m.density) for zone, m in zip(zones, materials, strict=True)])
    return float((density * volumes).sum())
