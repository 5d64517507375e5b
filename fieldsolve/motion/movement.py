"""All bodies that move in one shot: their positions, speeds and the mesh around them."""
from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, fields

import numpy as np

from fieldsolve.constants import MU_0
from fieldsolve.field.adaptivity.refinement import PERFECT_CONDUCTOR
from fieldsolve.field.fem.quadrature import gauss_points, seven_point_rule
from fieldsolve.field.quantities.virtual_work import virtual_work_forces
from fieldsolve.field.system.coefficients import material_of
from fieldsolve.field.system.eddy_current import EddySystem
from fieldsolve.motion.contract import Body, Motion, MotionEnergy, MotionState
from fieldsolve.motion.moving_mesh.flux_transport import FluxTransport, build_flux_transport
from fieldsolve.motion.moving_mesh.moving_mesh import MovingMesh, build_moving_mesh
from geometries.air_mesh import air_boundary
from geometries.cross_section import Section
from geometries.errors import InputError
from geometries.mesh import EDGE_NODES, EXTERIOR, Mesh
from geometries.parts import Part

MESHED_RADIUS_SHARE = 0.95         # of the radius of the meshed air, beyond which a body leaves it
MIN_HOLE_CELLS = 2.0        # widths of the cells beside a hole: below, the energy of its flux is wrong by 0.5 % of a bank's
MIN_HOLE_SHARE = 0.05       # of the initial radius of a hole: below it the hole counts as closed
MIN_GAP = 0.02         # of a body's thickness: nearer to another part than this the run ends, because no mesh fits between


@dataclass(eq=False)
class Movement:
    """The running state of the moving bodies of one shot.

    mesh            the moving mesh, and current_mesh the mesh on which the field of `time` stands
    flux_transport  how the metal's nodes keep their flux
    bodies          and motions of each; `states` are those of `time`
    forces          nodal forces (k, 2) on each body at `time` in N, and force_rates their rates in N/s
    time            s
    remesh_count    how often the air was meshed anew, and mechanics_passes how often the bodies' mechanics was integrated
    heat            (m,) W of ohmic heat of each triangle over the next step; None: nothing heats
    """

    mesh: MovingMesh
    current_mesh: Mesh
    flux_transport: FluxTransport
    bodies: tuple[Body, ...]
    motions: tuple[Motion, ...]
    states: tuple[MotionState, ...]
    forces: tuple[np.ndarray, ...]
    force_rates: tuple[np.ndarray, ...]
    time: float = 0.0
    remesh_count: int = 0
    mechanics_passes: int = 0
    heat: np.ndarray | None = None
    _predicted_meshes: dict[float, Mesh] = field(default_factory=dict)
    _predicted_states: dict[float, tuple[MotionState, ...]] = field(default_factory=dict)

    def mesh_at(self, time: float) -> Mesh:
        """Mesh at a time in s, not before `self.time`, with the forces extrapolated."""
        if time not in self._predicted_meshes:
            self._predicted_meshes[time] = self._mesh_of(self._predict_states(time), time)
        return self._predicted_meshes[time]

    def flux_ratio(self, before: Mesh, after: Mesh) -> np.ndarray:
        """(r_before / r_after)^2 of each node, 1 in air: by it u changes while the metal keeps its flux; shape (n,)."""
        return np.ones(before.size) if before is after else self.flux_transport.flux_ratio(before.nodes, after.nodes)

    def is_well_shaped(self, time: float) -> bool:
        """Whether the air's cells will still be well shaped at a later time in s."""
        return self.mesh.is_well_shaped(self.mesh_at(time))

    def discard_predictions(self) -> None:
        """Forget the predicted positions."""
        self._predicted_meshes.clear()
        self._predicted_states.clear()

    def describe_obstacle(self, time: float) -> str:
        """Why no mesh can be made up to `time` in s, in words."""
        degenerate = self.mesh.degenerate_triangles(self.mesh_at(time))
        for body in self.bodies:
            folded = np.intersect1d(degenerate, body.triangle_indices)
            if len(folded):
                r, z = self.current_mesh.corners[folded[0]].mean(axis=0)
                return (f"{body.name} is folded at r = {1e3 * r:.2f} mm, z = {1e3 * z:.2f} mm, "
                        "moved there beyond what its cells can follow")
        return self.describe_contact() or "a body moves too fast"

    def remesh_air(self) -> None:
        """Mesh the air anew around the bodies at their current positions.  Raises MeshError where the mesher fails."""
        self.mesh = self.mesh.remeshed(self.current_mesh)
        self.current_mesh, self.remesh_count = self.mesh.reference_mesh, self.remesh_count + 1
        self.discard_predictions()

    def virtual_work_forces_on_bodies(self, system: EddySystem, u: np.ndarray, applied_field: float) -> np.ndarray:
        """Forces by the energy of the field u, solved beside a steady applied field in tesla, on the nodes of all bodies; (kept, 2), N."""
        points = seven_point_rule(system.mesh, np.flatnonzero(system.mesh.region != EXTERIOR))
        return self.mesh.gather_forces(virtual_work_forces(system, points, self.flux_transport.metal, u, u + 0.5 * applied_field))

    def start(self, forces: tuple[np.ndarray, ...]) -> None:
        """Forces at the start."""
        self.forces = forces

    def _plastic_heat(self) -> np.ndarray:
        """J of plastic heat of each of the mesh's triangles since the start; shape (m,)."""
        joule = np.zeros(len(self.current_mesh.triangles))
        for body, state in zip(self.bodies, self.states, strict=True):
            joule[body.triangle_indices] += state.heat
        return joule

    def accept(self, length: float, forces: tuple[np.ndarray, ...], heats: tuple[np.ndarray, np.ndarray] | None = None) -> np.ndarray:
        """Move on by `length` seconds under the forces at their end; returns the plastic heat in J of each triangle meanwhile, (m,).

        heats  W of ohmic heat of each triangle: mean of this step, and at its end; None: nothing heats
        """
        before, self.heat = self._plastic_heat(), heats and heats[0]
        self.current_mesh = self.mesh_at(self.time + length)
        self.states = self._advance_states(length, forces)
        self.force_rates = tuple((after - before) / length for before, after in zip(self.forces, forces, strict=True))
        self.forces, self.time, self.heat = forces, self.time + length, heats and heats[1]
        self.discard_predictions()
        return self._plastic_heat() - before

    def error(self, length: float, forces: tuple[np.ndarray, ...], energy: float) -> float:
        """How far the forces found at the end of a step are from those extrapolated, by what they do in it.

        The larger of the change of position in units of the bodies' thickness and the change of work in units of `energy` in J.
        """
        found, expected = self._advance_states(length, forces), self._predict_states(self.time + length)
        end, errors = self.time + length, [0.0]
        for k, body in enumerate(self.bodies):
            before, after, wanted = (self.motions[k].positions(body, states[k], time)
                                     for states, time in ((self.states, self.time), (found, end), (expected, end)))
            surplus = forces[k] - self.forces[k] - length * self.force_rates[k]
            errors.append(float(np.abs(after - wanted).max()) / _thickness(body))
            errors.append(0.5 * abs(float((surplus * (wanted - before)).sum())) / energy)
        return max(errors)

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

    def describe_contact(self) -> str | None:
        """What a moving body has come too near to, in words; None if nothing."""
        radius = self.current_mesh.open_radius
        for body in self.bodies:
            r, z = self.current_mesh.nodes[body.nodes].T
            if np.hypot(r, z - self.current_mesh.centre).max() > MESHED_RADIUS_SHARE * radius:
                return f"{body.name} reaches {1e3 * MESHED_RADIUS_SHARE * radius:.3g} mm from the middle, where the meshed air ends"
        closed_hole = next((reason for body in self.bodies if (reason := self._describe_closed_hole(body))), None)
        if closed_hole:
            return closed_hole
        border = air_boundary(self.current_mesh)
        edges = border.edges[~border.on_axis]
        for body in self.bodies:
            of_body = np.isin(edges[:, 0], body.nodes)
            other = edges[~of_body & ~np.isin(edges[:, 0], self.current_mesh.arc_edges)]
            if not len(other) or not of_body.any():
                continue
            nodes = self.current_mesh.nodes[np.unique(edges[of_body, :2])]
            distance = _distances(nodes, self.current_mesh.nodes[other[:, 0]], self.current_mesh.nodes[other[:, 1]])
            k = np.unravel_index(int(distance.argmin()), distance.shape)
            if distance[k] < MIN_GAP * _thickness(body):
                r, z = nodes[k[0]]
                return f"{body.name} comes within {1e6 * distance[k]:.0f} um of another part at r = {1e3 * r:.2f} mm, z = {1e3 * z:.2f} mm"
        return None

    def _describe_closed_hole(self, body: Body) -> str | None:
        """That the hole of a body is closed, in words: the flux left in it is compressed beside cells that are too wide to follow it."""
        if body.initial_positions[:, 0].min() == 0:
            return None
        inner = body.nodes[self.current_mesh.nodes[body.nodes, 0].argmin()]
        r, z = self.current_mesh.nodes[inner]
        corners = self.current_mesh.corners[body.triangle_indices][
            (self.current_mesh.triangles[body.triangle_indices] == inner).any(axis=1)
        ]
        width = np.ptp(corners[:, :, 0], axis=1).max()
        if r > max(MIN_HOLE_CELLS * width, MIN_HOLE_SHARE * body.initial_positions[:, 0].min()):
            return None
        return (f"the hole of {body.name} closes: {1e3 * r:.2f} mm left at z = {1e3 * z:.2f} mm, beside cells {1e3 * width:.2f} mm wide, "
                "which cannot follow the flux that is compressed in it (finer ones can for longer)")

    def _predict_states(self, time: float) -> tuple[MotionState, ...]:
        if time not in self._predicted_states:
            ahead = time - self.time
            forces = tuple(force + ahead * slope for force, slope in zip(self.forces, self.force_rates, strict=True))
            self._predicted_states[time] = self._advance_states(ahead, forces)
        return self._predicted_states[time]

    def _advance_states(self, length: float, forces: tuple[np.ndarray, ...]) -> tuple[MotionState, ...]:
        if length == 0:
            return self.states
        self.mechanics_passes += 1
        heats = [0.0 if self.heat is None else self.heat[body.triangle_indices] for body in self.bodies]
        return tuple(motion.advance(body, state, self.time, length, before, after, heat)
                     for motion, body, state, before, after, heat
                     in zip(self.motions, self.bodies, self.states, self.forces, forces, heats, strict=True))

    def _mesh_of(self, states: tuple[MotionState, ...], time: float) -> Mesh:
        nodes = self.mesh.reference_mesh.nodes[:self.mesh.kept_count].copy()
        for body, motion, state in zip(self.bodies, self.motions, states, strict=True):
            nodes[body.nodes] = motion.positions(body, state, time)
        return self.mesh.deformed(nodes)


def build_movement(section: Section, mesh: Mesh, motions: Mapping[str, Motion], end_time: float) -> Movement:
    """The bodies of a section at their initial positions, for a shot of `end_time` seconds.  Raises InputError for an impossible motion."""
    moving = build_moving_mesh(mesh)
    bodies = tuple(_body(section, moving.reference_mesh, name, motion, end_time) for name, motion in motions.items())
    zero_forces = tuple(np.zeros_like(body.initial_positions) for body in bodies)
    states = tuple(motion.initial_state(body) for motion, body in zip(motions.values(), bodies, strict=True))
    return Movement(
        mesh=moving,
        current_mesh=moving.reference_mesh,
        flux_transport=build_flux_transport(moving.reference_mesh),
        bodies=bodies,
        motions=tuple(motions.values()),
        states=states,
        forces=zero_forces,
        force_rates=zero_forces,
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


def _thickness(body: Body) -> float:
    return float(np.ptp(body.initial_positions, axis=0).min())


def _distances(points: np.ndarray, start: np.ndarray, end: np.ndarray) -> np.ndarray:
    """Distance of each point from each straight edge; shape (points, edges)."""
    along, offset = end - start, points[:, None] - start
    share = np.clip((offset * along).sum(axis=2) / (along**2).sum(axis=1), 0, 1)
    return np.linalg.norm(offset - share[:, :, None] * along, axis=2)
