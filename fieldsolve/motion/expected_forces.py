"""Forces and heat on moving bodies over a step that is still to be solved: extrapolated, with the impulse that the steps before missed."""
from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from fieldsolve.motion.contract import Body

Forces = tuple[np.ndarray, ...]         # nodal forces (k, 2) in N on each body
Heats = tuple[np.ndarray | float, ...]  # of the triangles (m,) of each body
INSTANTS = 3                    # through which the forces are extrapolated


@dataclass(frozen=True, eq=False)
class ExpectedForces:
    """Forces on each body at the last instants, the latest first, and what of their impulse a body has not had yet.

    A step moves the bodies under forces that go straight from the known ones to those expected at its end.  What the field then gives at
    that end differs by a surplus S.  Half of it times the step's length h is an impulse P that was missed, and `S h^2/6 = P h/3` is
    what a body of one kilogram has not moved by.  Over the next step, of length k, a force that goes straight from a to b makes up for
    both:  a = (P/k) (4 + 2 h/k),  b = -(P/k) (2 + 2 h/k).

    times    (instants,) s
    forces   of each instant
    missed   nodal impulses P, (k, 2) each, in N s
    """

    times: tuple[float, ...]
    forces: tuple[Forces, ...]
    missed: Forces

    @property
    def has_history(self) -> bool:
        """Whether there are as many instants as the extrapolation goes through."""
        return len(self.times) == INSTANTS

    def over(self, length: float) -> tuple[Forces, Forces]:
        """Forces now and expected `length` seconds later, what was missed included."""
        last = self.times[0] - self.times[1] if len(self.times) > 1 else 0.0
        ratio = min(last / length, 1.0)                     # a short step makes up for the impulse alone, nearly
        first, end = (4 + 2 * ratio) / length, -(2 + 2 * ratio) / length
        return (tuple(f + first * impulse for f, impulse in zip(self.forces[0], self.missed, strict=True)),
                tuple(f + end * impulse for f, impulse in zip(self.at(self.times[0] + length), self.missed, strict=True)))

    def at(self, time: float, instants: int = INSTANTS) -> Forces:
        """Forces extrapolated to a time in s: by the polynomial through some of the last instants, in Lagrange's form."""
        times = self.times[:instants]
        weights = [math.prod((time - other) / (here - other) for other in times if other != here) for here in times]
        return tuple(sum(weight * f for weight, f in zip(weights, of_body, strict=False)) for of_body in zip(*self.forces, strict=True))

    def surplus(self, time: float, forces: Forces, instants: int = INSTANTS) -> Forces:
        """How far the forces found at a time in s are from those extrapolated from some of the last instants."""
        return tuple(found - expected for found, expected in zip(forces, self.at(time, instants), strict=True))

    def followed_by(self, time: float, forces: Forces, missed: Forces) -> ExpectedForces:
        """The same one instant later."""
        return ExpectedForces((time, *self.times)[:INSTANTS], (forces, *self.forces)[:INSTANTS], missed)


@dataclass(frozen=True, eq=False)
class ExpectedHeat:
    """Ohmic heat of each body's triangles: now in W, and its rate in W/s."""

    now: Heats
    rate: Heats

    def over(self, length: float) -> Heats:
        """Mean heat expected over the next `length` seconds in W."""
        return tuple(now + 0.5 * length * rate for now, rate in zip(self.now, self.rate, strict=True))

    def missed(self, length: float, mean: Heats) -> Heats:
        """J that the heat found in a step is more than that expected."""
        return tuple(length * (found - expected) for found, expected in zip(mean, self.over(length), strict=True))

    def followed_by(self, length: float, last: Heats) -> ExpectedHeat:
        """The same `length` seconds later."""
        return ExpectedHeat(last, tuple((after - now) / length for after, now in zip(last, self.now, strict=True)))


def no_forces(bodies: tuple[Body, ...]) -> Forces:
    """Zero on each body."""
    return tuple(np.zeros_like(body.initial_positions) for body in bodies)


def effect_of_surplus(body: Body, surplus: np.ndarray, displacement: np.ndarray, length: float) -> tuple[float, float]:
    """What a surplus (k, 2) in N at the end of a step does in it: (change of position in m, change of work in J).

    displacement (k, 2) in m is that of the body's nodes in the step, `length` is in seconds.  A body whose metal all follows moves by
    `surplus length^2 / (6 mass)`; three times that is allowed for metal near the surface, which the force reaches first.
    """
    moved = 0.5 * float(np.hypot(*surplus.T).sum()) * length**2 / body.mass if body.mass else 0.0
    return moved, 0.5 * abs(float((surplus * displacement).sum()))
