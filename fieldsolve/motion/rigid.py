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
    start: np.ndarray
    mass: float
    volume: float
    radius: float           # of the section's centre of area at the start, metres
    height: float           # z of the same
    perfect: bool
    ends: np.ndarray | None = None              # (k, 2, 2) places at the start of the ends of each node's edge, of a corner its own
    part: Part | None = None
    materials: tuple[Material, ...] = ()        # of its zones
    triangles: np.ndarray | None = None         # corners (m, 3, 2) of its triangles at the start
    numbers: np.ndarray | None = None           # (m,) of these triangles in the mesh


@dataclass(frozen=True)
class State:
    """One freedom of a body: place, speed, and what energy went where, joule."""

    place: float
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

    def state(self, body: Body) -> State:
        """State at the start: the place is the height of the section's centre."""
        return State(body.height, self.speed, 0.5 * body.mass * self.speed**2)

    def places(self, body: Body, state: State, time: float) -> np.ndarray:
        """Places of the body's nodes; shape (k, 2)."""
        return body.start + np.array([0.0, state.place - body.height])

    def advanced(self, body: Body, state: State, time: float, length: float, before: np.ndarray, after: np.ndarray,
                 heat: np.ndarray | float = 0.0) -> State:
        """State `length` seconds later:  m z'' = F_z - m g."""
        weight = body.mass * GRAVITY if self.gravity else 0.0
        forces = np.linspace(before[:, 1].sum(), after[:, 1].sum(), SUBSTEPS + 1) - weight
        h, z, v, lost = length / SUBSTEPS, state.place, state.speed, 0.0
        for here, there in pairwise(forces):
            z += h * v + h**2 * (2 * here + there) / (6 * body.mass)
            v += h * (here + there) / (2 * body.mass)
            if self.supported and z <= body.height and v <= 0:
                lost += 0.5 * body.mass * v**2
                z, v = body.height, 0.0
        return State(z, v, 0.5 * body.mass * v**2, weight * (z - body.height), state.dissipated + lost)

    def readings(self, state: State) -> dict[str, float]:
        """Series beside the energies: height of the centre in metres, speed in m/s."""
        return {"height": state.place, "speed": state.speed}


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

    def state(self, body: Body) -> State:
        """State at the start: the place is the radius of the section's centre."""
        return State(body.radius, 0.0)

    def places(self, body: Body, state: State, time: float) -> np.ndarray:
        """Places of the body's nodes: r = a + (R - a_0) s, z = z_0 + (Z - z_0) s, s = sqrt(a_0 / a); shape (k, 2)."""
        scale = math.sqrt(body.radius / state.place)
        return np.array([state.place, body.height]) + (body.start - np.array([body.radius, body.height])) * scale

    def force(self, body: Body, radius: float, nodal: np.ndarray) -> float:
        """Force on the radius: sum of f_r dr/da + f_z dz/da, newton."""
        slope = -0.5 * math.sqrt(body.radius / radius) / radius
        direction = np.array([1.0, 0.0]) + (body.start - np.array([body.radius, body.height])) * slope
        return float((nodal * direction).sum())

    def advanced(self, body: Body, state: State, time: float, length: float, before: np.ndarray, after: np.ndarray,
                 heat: np.ndarray | float = 0.0) -> State:
        """State `length` seconds later:  m a'' = F_a - sign(a') Y V / a, at rest while |F_a| <= Y V / a."""
        forces = np.linspace(self.force(body, state.place, before), self.force(body, state.place, after), SUBSTEPS + 1)
        h, a, v, flowed = length / SUBSTEPS, state.place, state.speed, state.dissipated
        for here, there in pairwise(forces):
            a_before = a
            a, v = self._substep(body, a, v, here, there, h)
            flowed += self.flow_stress * body.volume * abs(math.log(a / a_before))
        return State(a, v, 0.5 * body.mass * v**2, dissipated=flowed)

    def _substep(self, body: Body, a: float, v: float, here: float, there: float, h: float) -> tuple[float, float]:
        """Heun's method; the ring comes to rest where its speed would change sign."""
        resistance = self.flow_stress * body.volume
        way = math.copysign(1.0, v) if v else math.copysign(1.0, here + there)
        if not v and abs(here + there) / 2 <= resistance / a:
            return a, 0.0
        first = (here - way * resistance / a) / body.mass
        second = (there - way * resistance / (a + h * v + 0.5 * h**2 * first)) / body.mass
        speed = v + 0.5 * h * (first + second)
        if v and speed * v < 0:
            stop = h * v / (v - speed)
            return a + 0.5 * stop * v, 0.0
        return a + h * v + h**2 * (2 * first + second) / 6, speed

    def readings(self, state: State) -> dict[str, float]:
        """Series beside the energies: radius of the section's centre in metres, its speed in m/s."""
        return {"radius": state.place, "speed": state.speed}


@dataclass(frozen=True)
class GivenMotion:
    """A body that moves as it is told, whatever the field does.

    places_at  function (time in s, r, z) of the nodes' places at the start, arrays in metres, that returns their r and z then;
               at time 0 it must return what it is given
    mass       unused; it is nobody's concern what moves the body
    """

    places_at: Callable[[float, np.ndarray, np.ndarray], tuple[np.ndarray, np.ndarray]]
    mass: float | None = None

    def state(self, body: Body) -> State:
        """State at the start.  Raises InputError where the function moves the body at time 0."""
        gone = float(np.abs(self.places(body, None, 0.0) - body.start).max())
        if not gone <= 1e-9 * np.abs(body.start).max():
            raise InputError(f"motion of {body.name}: at time 0 it is {gone:g} m away from its place in the section; let it start there")
        return State(0.0, 0.0)

    def places(self, body: Body, state: State | None, time: float) -> np.ndarray:
        """Places of the body's nodes; shape (k, 2).  Raises InputError for what is not finite."""
        places = np.stack(np.broadcast_arrays(*self.places_at(time, *body.start.T)), axis=1).astype(float)
        if not np.isfinite(places).all():
            raise InputError(f"motion of {body.name}: the place at {time:g} s is not a number")
        return places

    def advanced(self, body: Body, state: State, time: float, length: float, before: np.ndarray, after: np.ndarray,
                 heat: np.ndarray | float = 0.0) -> State:
        """State `length` seconds later: the work of the field's force goes to what moves the body."""
        gone = self.places(body, state, time + length) - self.places(body, state, time)
        return replace(state, external=state.external + float((0.5 * (before + after) * gone).sum()))

    def readings(self, state: State) -> dict[str, float]:
        """No series beside the energies."""
        return {}
