"""The contract of a motion: what a body is, what its state holds, and what `Movement` calls."""
from __future__ import annotations

from dataclasses import dataclass, fields
from functools import cached_property
from typing import Any, Protocol, runtime_checkable

import numpy as np

from fieldsolve.materials.material import Material
from geometries.parts import Part


@dataclass(frozen=True, kw_only=True, eq=False)
class Body:
    """A part that moves, as the field's mesh has it at the start.

    name                  of the part
    nodes                 (k,) its nodes in the mesh
    initial_positions     (k, 2) r and z of these nodes in m
    mass                  kg
    volume                m^3
    radius, height        r and z of the centre of area of its section, m
    perfectly_conducting  whether its skin is too thin for the mesh, so that the force follows from the field's energy alone
    edge_ends             (k, 2, 2) positions in m of both ends of the edge whose middle each node is, of a corner twice its own
    part                  the part itself
    materials             of its zones
    triangles             (m, 3, 2) corners of its triangles, m
    triangle_indices      (m,) these triangles in the mesh
    """

    name: str
    nodes: np.ndarray
    initial_positions: np.ndarray
    mass: float
    volume: float
    radius: float
    height: float
    perfectly_conducting: bool
    edge_ends: np.ndarray
    part: Part
    materials: tuple[Material, ...]
    triangles: np.ndarray
    triangle_indices: np.ndarray

    @cached_property
    def thickness(self) -> float:
        """The smaller extent of its section at the start, m."""
        return float(np.ptp(self.initial_positions, axis=0).min())


@dataclass(frozen=True, kw_only=True)
class MotionEnergy:
    """Where the work done on a body is, in joule.

    kinetic     now
    potential   of the weight, now
    dissipated  by plastic flow, viscosity, contact and landings, since the start
    external    given to what prescribes the motion, since the start
    elastic     now
    """

    kinetic: float = 0.0
    potential: float = 0.0
    dissipated: float = 0.0
    external: float = 0.0
    elastic: float = 0.0

    @property
    def total(self) -> float:
        """Sum of them all, J."""
        return sum(getattr(self, entry.name) for entry in fields(self))


NO_ENERGY = MotionEnergy()


class MotionState(Protocol):
    """A body at one instant, a frozen dataclass; what else it holds only its motion knows.

    energy  where the work done on the body is
    heat    J of plastic heat of each of its triangles since the start, (m,), or 0
    """

    @property
    def energy(self) -> MotionEnergy: ...

    @property
    def heat(self) -> np.ndarray | float: ...


@runtime_checkable
class Motion(Protocol):
    """How a body moves.

    A motion is a frozen dataclass that a person writes down; the same one may serve several bodies.  `Movement` takes its word for:

    1. `mass` in kg, or None where the body's mass follows from the densities of its metal.
    2. `initial_state(body)` is the state at time 0.  It raises InputError for a body that cannot move so.
    3. `positions(body, state, time)` are the positions (k, 2) in m of the body's nodes in that state; time in s.
    4. `advance(body, state, time, length, before, after, heat)` is the state `length` seconds after `time`.  The nodal forces go
       straight from `before` to `after`, (k, 2) each, in N over the full circumference.  `heat` is the ohmic heat in W of each of the
       body's triangles, (m,), or 0.  The given state stays as it is, so that an interval can be tried again.  The work of the forces
       on `positions` is the change of `state.energy.total`.  It raises MotionEnd where the motion cannot go on, and says why.
    5. `observables(state)` are series beside the energies, numbers in SI by name.
    6. States and motions are data: they pickle where the person's own functions do.
    """

    @property
    def mass(self) -> float | None: ...

    def initial_state(self, body: Body) -> Any: ...

    def positions(self, body: Body, state: Any, time: float) -> np.ndarray: ...

    def advance(self, body: Body, state: Any, time: float, length: float, before: np.ndarray, after: np.ndarray,
                heat: np.ndarray | float = 0.0) -> Any: ...

    def observables(self, state: Any) -> dict[str, float]: ...


@runtime_checkable
class DeformingMotion(Motion, Protocol):
    """A motion that has something to say about the mesh of the field, beside what every `Motion` does.

    7. `grid(part)` are lines r and z in m that no triangle of the part may cross; None where there are none.
    8. `max_cell_size(part)` is the largest cell in m at the part's surface; infinite where any will do.
    9. `refined(factor)` is the same motion with cells of 1/factor of the size; by default of half.
    """

    def grid(self, part: Part) -> tuple[tuple[float, ...], tuple[float, ...]] | None: ...

    def max_cell_size(self, part: Part) -> float: ...

    def refined(self, factor: float = 2.0) -> DeformingMotion: ...


@runtime_checkable
class HeatedMotion(Motion, Protocol):
    """A motion whose metal softens as it heats, beside what every `Motion` does.

    10. `heated(body, state, energy)` is the state at the same instant with more heat, or less, in J of each of the body's triangles,
        (m,): what the heat of a step was found to be beyond that with which `advance` was called.
    """

    def heated(self, body: Body, state: Any, energy: np.ndarray) -> Any: ...
