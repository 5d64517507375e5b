"""Rigid bodies along the axis, rings with a free radius, and bodies whose motion is prescribed."""
from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from fieldsolve.motion.contract import NO_ENERGY, Body, MotionEnergy
from fieldsolve.renamed import old_attributes
from geometries.errors import InputError
from geometries.keywords import known_keywords

GRAVITY = 9.80665           # m/s^2, standard acceleration of free fall (3rd CGPM, 1901)
SUBSTEPS = 16               # of the motion in a step of the field


@dataclass(frozen=True)
class RigidState:
    """One degree of freedom of a body.

    coordinate  height of the section's centre or radius of it, m
    speed       its rate, m/s
    energy      where the work done on the body is
    heat        J of plastic heat: none that the field sees
    """

    coordinate: float
    speed: float
    energy: MotionEnergy = NO_ENERGY
    heat: float = 0.0


@known_keywords
@dataclass(frozen=True)
class AxialMotion:
    """A rigid body that moves along z under the force of the field.

    Parameters
    ----------
    mass : float, optional
        kg; by default from the metal's density.
    gravity : bool, optional
        Whether it has weight; z points up.
    supported : bool, optional
        Whether something holds it from below at its initial height, on which it lands without bouncing.
    speed : float, optional
        At the start, m/s.

    Raises
    ------
    InputError
        For a mass that is not positive.

    Examples
    --------
    >>> AxialMotion(mass=0.2, gravity=True, supported=True)
    AxialMotion(mass=0.2, gravity=True, supported=True, speed=0.0)
    """

    mass: float | None = None
    gravity: bool = False
    supported: bool = False
    speed: float = 0.0

    def __post_init__(self) -> None:
        _check_mass(self.mass)

    def initial_state(self, body: Body) -> RigidState:
        """State at the start; the coordinate is the height of the section's centre."""
        return RigidState(body.height, self.speed, MotionEnergy(kinetic=0.5 * body.mass * self.speed**2))

    def positions(self, body: Body, state: RigidState, time: float) -> np.ndarray:
        """Positions (k, 2) of the body's nodes in m."""
        return body.initial_positions + np.array([0.0, state.coordinate - body.height])

    def advance(self, body: Body, state: RigidState, time: float, length: float, before: np.ndarray, after: np.ndarray,
                heat: np.ndarray | float = 0.0) -> RigidState:
        """State `length` seconds later:  m z'' = F_z - m g."""
        weight = body.mass * GRAVITY if self.gravity else 0.0
        forces = (np.linspace(before[:, 1].sum(), after[:, 1].sum(), SUBSTEPS + 1) - weight).tolist()
        h, z, v, landing_loss = length / SUBSTEPS, state.coordinate, state.speed, 0.0
        for here, there in pairwise(forces):
            z += h * v + h**2 * (2 * here + there) / (6 * body.mass)
            v += h * (here + there) / (2 * body.mass)
            if self.supported and z <= body.height and v <= 0:
                landing_loss += 0.5 * body.mass * v**2
                z, v = body.height, 0.0
        return RigidState(z, v, MotionEnergy(kinetic=0.5 * body.mass * v**2, potential=weight * (z - body.height),
                                             dissipated=state.energy.dissipated + landing_loss))

    def observables(self, state: RigidState) -> dict[str, float]:
        """Series beside the energies: height of the centre in m, speed in m/s."""
        return {"height": state.coordinate, "speed": state.speed}


@known_keywords
@dataclass(frozen=True)
class RadialMotion:
    """A thin ring whose radius a is free.

    Parameters
    ----------
    flow_stress : float
        Constant, Pa; the ring is rigid below it.
    mass : float, optional
        kg; by default from the metal's density.

    Raises
    ------
    InputError
        For a flow stress that is not a finite number of 0 or more, or a mass that is not positive.

    Notes
    -----
    Its volume and the shape of its section are kept, so the section scales with sqrt(a_0 / a).

    Examples
    --------
    >>> RadialMotion(flow_stress=90e6)
    RadialMotion(flow_stress=90000000.0, mass=None)
    """

    flow_stress: float
    mass: float | None = None

    def __post_init__(self) -> None:
        if not (math.isfinite(self.flow_stress) and self.flow_stress >= 0):
            raise InputError(f"flow_stress = {self.flow_stress:g} Pa: give a finite number of 0 or more")
        _check_mass(self.mass)

    def initial_state(self, body: Body) -> RigidState:
        """State at the start; the coordinate is the radius of the section's centre."""
        return RigidState(body.radius, 0.0)

    def positions(self, body: Body, state: RigidState, time: float) -> np.ndarray:
        """Positions (k, 2) of the body's nodes in m: r = a + (R - a_0) s, z = z_0 + (Z - z_0) s, s = sqrt(a_0 / a)."""
        scale = math.sqrt(body.radius / state.coordinate)
        return np.array([state.coordinate, body.height]) + (body.initial_positions - np.array([body.radius, body.height])) * scale

    def force(self, body: Body, radius: float, nodal: np.ndarray) -> float:
        """Generalized force on the radius in N: sum of f_r dr/da + f_z dz/da."""
        slope = -0.5 * math.sqrt(body.radius / radius) / radius
        direction = np.array([1.0, 0.0]) + (body.initial_positions - np.array([body.radius, body.height])) * slope
        return float((nodal * direction).sum())

    def advance(self, body: Body, state: RigidState, time: float, length: float, before: np.ndarray, after: np.ndarray,
                heat: np.ndarray | float = 0.0) -> RigidState:
        """State `length` seconds later:  m a'' = F_a - sign(a') Y V / a, at rest while |F_a| <= Y V / a."""
        first, last = (self.force(body, state.coordinate, nodal) for nodal in (before, after))
        forces = np.linspace(first, last, SUBSTEPS + 1).tolist()
        h, a, v, dissipated = length / SUBSTEPS, state.coordinate, state.speed, state.energy.dissipated
        for here, there in pairwise(forces):
            a_before = a
            a, v = self._substep(body, a, v, here, there, h)
            dissipated += self.flow_stress * body.volume * abs(math.log(a / a_before))
        return RigidState(a, v, MotionEnergy(kinetic=0.5 * body.mass * v**2, dissipated=dissipated))

    def _substep(self, body: Body, a: float, v: float, here: float, there: float, h: float) -> tuple[float, float]:
        """Radius and speed after h seconds by Heun's method; the ring comes to rest where its speed would change sign."""
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
        """Series beside the energies: radius of the section's centre in m, its speed in m/s."""
        return {"radius": state.coordinate, "speed": state.speed}


@known_keywords
@dataclass(frozen=True)
class PrescribedMotion:
    """A body that moves along a given path, whatever the field does.

    Parameters
    ----------
    positions_at : callable
        Function of (time in s, r, z), where r and z are arrays (k,) in m of points of the body at the start.  It returns their r and
        z at that time; at time 0 it must return what it is given.  A function that can be imported by name also pickles.

    Examples
    --------
    >>> falling = PrescribedMotion(lambda time, r, z: (r, z - 50.0 * time))
    >>> falling.positions_at(1e-3, 10e-3, 0.0)
    (0.01, -0.05)
    """

    positions_at: Callable[[float, np.ndarray, np.ndarray], tuple[np.ndarray, np.ndarray]]

    @property
    def mass(self) -> float:
        """0 kg: whatever prescribes the motion bears it."""
        return 0.0

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
        """Positions (k, 2) of the body's nodes in m.  Raises InputError for what is not finite."""
        positions = np.stack(np.broadcast_arrays(*self.positions_at(time, *body.initial_positions.T)), axis=1).astype(float)
        if not np.isfinite(positions).all():
            raise InputError(f"motion of {body.name}: the place at {time:g} s is not a number; let the function return finite r and z")
        return positions

    def advance(self, body: Body, state: RigidState, time: float, length: float, before: np.ndarray, after: np.ndarray,
                heat: np.ndarray | float = 0.0) -> RigidState:
        """State `length` seconds later: the work of the field's force goes to what prescribes the motion."""
        displacement = self.positions(body, state, time + length) - self.positions(body, state, time)
        work = float((0.5 * (before + after) * displacement).sum())
        return replace(state, energy=MotionEnergy(external=state.energy.external + work))

    def observables(self, state: RigidState) -> dict[str, float]:
        """No series beside the energies."""
        return {}


def _check_mass(mass: float | None) -> None:
    if mass is not None and not (math.isfinite(mass) and mass > 0):
        raise InputError(f"mass = {mass:g} kg: give a positive number, or None for that of the metal")
