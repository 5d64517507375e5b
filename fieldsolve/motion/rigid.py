"""How a body may move: along the axis as one rigid piece, as a ring whose radius is free, or as it is told.

Each kind is a frozen description that a person writes; its state is the place, the speed and the energies of one instant.
`heat`, W of ohmic heat of each triangle of the body, matters only to what softens by it.
A step's force is linear in time between the nodal forces (k, 2) of its two ends, in newton over the full circumference.
"""
from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from fieldsolve.materials.material import Material
from fieldsolve.renamed import old_attributes
from geometries.errors import InputError
from geometries.parts import Part

GRAVITY = 9.80665           # m/s^2, standard acceleration of free fall (3rd CGPM, 1901)
SUBSTEPS = 16               # of the motion in a step of the field


@dataclass(frozen=True, eq=False)
class Body:
    """A part as it moves: its nodes in the mesh, their places (k, 2) at the start, mass in kg and volume in m^3.

    perfect   whether its skin is too thin for the mesh, so that only the field's energy tells the force
    """

    name: str
    nodes: np.ndarray
    initial_positions: np.ndarray
    mass: float
    volume: float
    radius: float           # of the section's centre of area at the start, metres
    height: float           # z of the same
    perfectly_conducting: bool
    edge_ends: np.ndarray | None = None              # (k, 2, 2) places at the start of the ends of each node's edge, of a corner its own
    part: Part | None = None
    materials: tuple[Material, ...] = ()        # of its zones
    triangles: np.ndarray | None = None         # corners (m, 3, 2) of its triangles at the start
    triangle_indices: np.ndarray | None = None           # (m,) of these triangles in the mesh


@dataclass(frozen=True)
class RigidState:
    """One freedom of a body: place, speed, and what energy went where, joule."""

    coordinate: float
    speed: float
    kinetic: float = 0.0
    potential: float = 0.0      # of the weight
    dissipated: float = 0.0     # by plastic flow or a landing
    external: float = 0.0       # given to what moves the body as it is told
    elastic: float = 0.0        # of the strain


@dataclass(frozen=True)
class AxialMotion:
    """A rigid body that moves along z under the force of the field.

    mass       kg; None: from the metal's density
    gravity    whether it weighs; z points up
    supported  whether something holds it from below at its first place, on which it lands without bouncing
    speed      at the start in m/s
    """

    mass: float | None = None
    gravity: bool = False
    supported: bool = False
    speed: float = 0.0

    def initial_state(self, body: Body) -> RigidState:
        """State at the start: the place is the height of the section's centre."""
        return RigidState(body.height, self.speed, 0.5 * body.mass * self.speed**2)

    def positions(self, body: Body, state: RigidState, time: float) -> np.ndarray:
        """Places of the body's nodes; shape (k, 2)."""
        return body.initial_positions + np.array([0.0, state.coordinate - body.height])

    def advance(self, body: Body, state: RigidState, time: float, length: float, before: np.ndarray, after: np.ndarray,
                heat: np.ndarray | float = 0.0) -> RigidState:
        """State `length` seconds later:  m z'' = F_z - m g."""
        weight = body.mass * GRAVITY if self.gravity else 0.0
        forces = np.linspace(before[:, 1].sum(), after[:, 1].sum(), SUBSTEPS + 1) - weight
        h, z, v, landing_loss = length / SUBSTEPS, state.coordinate, state.speed, 0.0
        for here, there in pairwise(forces):
            z += h * v + h**2 * (2 * here + there) / (6 * body.mass)
            v += h * (here + there) / (2 * body.mass)
            if self.supported and z <= body.height and v <= 0:
                landing_loss += 0.5 * body.mass * v**2
                z, v = body.height, 0.0
        return RigidState(z, v, 0.5 * body.mass * v**2, weight * (z - body.height), state.dissipated + landing_loss)

    def observables(self, state: RigidState) -> dict[str, float]:
        """Series beside the energies: height of the centre in metres, speed in m/s."""
        return {"height": state.coordinate, "speed": state.speed}


@dataclass(frozen=True)
class RadialMotion:
    """A thin ring whose radius a is free; its volume and the shape of its section are kept, so the section scales with sqrt(a_0 / a).

    flow_stress  constant, in pascal; the ring is rigid below it
    mass         kg; None: from the metal's density
    """

    flow_stress: float
    mass: float | None = None

    def __post_init__(self) -> None:
        if not (math.isfinite(self.flow_stress) and self.flow_stress >= 0):
            raise InputError(f"flow_stress = {self.flow_stress:g} Pa: give a finite number of 0 or more")

    def initial_state(self, body: Body) -> RigidState:
        """State at the start: the place is the radius of the section's centre."""
        return RigidState(body.radius, 0.0)

    def positions(self, body: Body, state: RigidState, time: float) -> np.ndarray:
        """Places of the body's nodes: r = a + (R - a_0) s, z = z_0 + (Z - z_0) s, s = sqrt(a_0 / a); shape (k, 2)."""
        scale = math.sqrt(body.radius / state.coordinate)
        return np.array([state.coordinate, body.height]) + (body.initial_positions - np.array([body.radius, body.height])) * scale

    def force(self, body: Body, radius: float, nodal: np.ndarray) -> float:
        """Force on the radius: sum of f_r dr/da + f_z dz/da, newton."""
        slope = -0.5 * math.sqrt(body.radius / radius) / radius
        direction = np.array([1.0, 0.0]) + (body.initial_positions - np.array([body.radius, body.height])) * slope
        return float((nodal * direction).sum())

    def advance(self, body: Body, state: RigidState, time: float, length: float, before: np.ndarray, after: np.ndarray,
                heat: np.ndarray | float = 0.0) -> RigidState:
        """State `length` seconds later:  m a'' = F_a - sign(a') Y V / a, at rest while |F_a| <= Y V / a."""
        forces = np.linspace(self.force(body, state.coordinate, before), self.force(body, state.coordinate, after), SUBSTEPS + 1)
        h, a, v, dissipated_work = length / SUBSTEPS, state.coordinate, state.speed, state.dissipated
        for here, there in pairwise(forces):
            a_before = a
            a, v = self._substep(body, a, v, here, there, h)
            dissipated_work += self.flow_stress * body.volume * abs(math.log(a / a_before))
        return RigidState(a, v, 0.5 * body.mass * v**2, dissipated=dissipated_work)

    def _substep(self, body: Body, a: float, v: float, here: float, there: float, h: float) -> tuple[float, float]:
        """Heun's method; the ring comes to rest where its speed would change sign."""
        resistance = self.flow_stress * body.volume
        sign = math.copysign(1.0, v) if v else math.copysign(1.0, here + there)
        if not v and abs(here + there) / 2 <= resistance / a:
            return a, 0.0
        first = (here - sign * resistance / a) / body.mass
        second = (there - sign * resistance / (a + h * v + 0.5 * h**2 * first)) / body.mass
        speed = v + 0.5 * h * (first + second)
        if v and speed * v < 0:
            stop = h * v / (v - speed)
            return a + 0.5 * stop * v, 0.0
        return a + h * v + h**2 * (2 * first + second) / 6, speed

    def observables(self, state: RigidState) -> dict[str, float]:
        """Series beside the energies: radius of the section's centre in metres, its speed in m/s."""
        return {"radius": state.coordinate, "speed": state.speed}


@dataclass(frozen=True)
class PrescribedMotion:
    """A body that moves as it is told, whatever the field does.

    places_at  function (time in s, r, z) of the nodes' places at the start, arrays in metres, that returns their r and z then;
               at time 0 it must return what it is given
    mass       unused; it is nobody's concern what moves the body
    """

    positions_at: Callable[[float, np.ndarray, np.ndarray], tuple[np.ndarray, np.ndarray]]
    mass: float | None = None

    __getattr__ = old_attributes("PrescribedMotion")

    def initial_state(self, body: Body) -> RigidState:
        """State at the start.  Raises InputError where the function moves the body at time 0."""
        displacement = float(np.abs(self.positions(body, None, 0.0) - body.initial_positions).max())
        if not displacement <= 1e-9 * np.abs(body.initial_positions).max():
            raise InputError(
                f"motion of {body.name}: at time 0 it is {displacement:g} m away from its place in the section; let it start there"
            )
        return RigidState(0.0, 0.0)

    def positions(self, body: Body, state: RigidState | None, time: float) -> np.ndarray:
        """Places of the body's nodes; shape (k, 2).  Raises InputError for what is not finite."""
        positions = np.stack(np.broadcast_arrays(*self.positions_at(time, *body.initial_positions.T)), axis=1).astype(float)
        if not np.isfinite(positions).all():
            raise InputError(f"motion of {body.name}: the place at {time:g} s is not a number")
        return positions

    def advance(self, body: Body, state: RigidState, time: float, length: float, before: np.ndarray, after: np.ndarray,
                heat: np.ndarray | float = 0.0) -> RigidState:
        """State `length` seconds later: the work of the field's force goes to what moves the body."""
        displacement = self.positions(body, state, time + length) - self.positions(body, state, time)
        return replace(state, external=state.external + float((0.5 * (before + after) * displacement).sum()))

    def observables(self, state: RigidState) -> dict[str, float]:
        """No series beside the energies."""
        return {}
