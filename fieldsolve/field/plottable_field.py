"""What a field has to offer to be drawn, written as a grid, or sampled: the contract between fields and the report."""
from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Protocol, runtime_checkable

import numpy as np

if TYPE_CHECKING:                       # the report, which names these contracts, loads no solver
    from fieldsolve.field.fem.nodal_field import NodalField
    from geometries.cross_section import Section
    from geometries.mesh import Mesh


class PlottableField(Protocol):
    """A field on its mesh: at rest, at a frequency, or of a shot at one instant.

    Contract:

    1. `section` is what was solved, `mesh` the mesh it is known on.  Where metal moves, the mesh is that of the instant, and the
       section that of the start.
    2. `solution` is the field at the nodes of `mesh`.
    3. `flux_density(r, z)` and `flux(r, z)` take points in metres anywhere in space and return arrays of the points' common
       shape: B_r and B_z in tesla, and the flux 2 pi r A_phi in weber.
    4. Values are real, or complex phasors: peak values with exp(+j omega t).
    5. A field with `current_density` is a `PlottableCurrents` too.  One with `frequency` in hertz is drawn as harmonic, and one
       with `fields` is a `PlottableSweep` over several.
    """

    @property
    def section(self) -> Section:
        """What was solved."""

    @property
    def mesh(self) -> Mesh:
        """The mesh of the field."""

    @property
    def solution(self) -> NodalField:
        """The field at the nodes."""

    def flux_density(self, r, z) -> tuple[np.ndarray, np.ndarray]:
        """B_r and B_z in tesla at points in metres."""

    def flux(self, r, z) -> np.ndarray:
        """Flux in weber through the circle through each point."""


@runtime_checkable
class PlottableCurrents(Protocol):
    """What a `PlottableField` has to offer beside its field where currents in metal are drawn.

    Contract:

    1. `current_density(r, z)` is J_phi in A/m^2 at points in metres, zero outside metal; array of the points' common shape.
    2. `net_current(name)` is the current of a body through its half section in ampere along +phi, of a coil per turn.
    3. `section` and `mesh` are as in `PlottableField`.
    """

    @property
    def section(self) -> Section:
        """What was solved."""

    @property
    def mesh(self) -> Mesh:
        """The mesh of the field."""

    def current_density(self, r, z) -> np.ndarray:
        """J_phi in A/m^2 at points in metres."""

    def net_current(self, name: str) -> complex:
        """Current in ampere of a body, or of a coil per turn."""


@runtime_checkable
class PlottableSweep(Protocol):
    """Fields of one section at several frequencies on one mesh.

    Contract:

    1. `fields` are `PlottableField`s in the order of `frequencies`, which are in hertz.
    """

    @property
    def fields(self) -> Sequence[PlottableField]:
        """The field at each frequency."""

    @property
    def frequencies(self) -> np.ndarray:
        """Frequencies in hertz."""
