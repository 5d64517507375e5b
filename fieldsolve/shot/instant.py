"""What is kept of a shot at one instant: the field on its mesh, and the heat and the plastic flow of the metal."""
from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from fieldsolve.motion.hoops.hoops import Burst
from geometries.mesh import Mesh

BurstRange = tuple[Burst | None, Burst | None]          # at the least and at the largest strain that the metal breaks at


@dataclass(frozen=True, eq=False)
class PlasticFlow:
    """Plastic flow in the k triangles of one part, in the order of `Mesh.part_triangles`.

    heat    (k,) J of plastic work since the start that turned into heat
    strain  (k,) equivalent plastic strain, mean over each triangle
    rate    (k,) its rate in 1/s
    """

    heat: np.ndarray
    strain: np.ndarray
    rate: np.ndarray

    def __repr__(self) -> str:
        return f"PlasticFlow({len(self.heat)} triangles)"


@dataclass(frozen=True, eq=False)
class MetalSnapshot:
    """The metal at one instant.

    enthalpy  (m,) J/m^3 above 293.15 K in each of the mesh's triangles; None where nothing heats
    flow      plastic flow of each part that flows or stretches, by name
    bursts    each stretching coil when its first turn breaks at the earliest and at the latest, by name
    """

    enthalpy: np.ndarray | None
    flow: Mapping[str, PlasticFlow]
    bursts: Mapping[str, BurstRange]

    def __repr__(self) -> str:
        heat = "no heat" if self.enthalpy is None else f"heat in {len(self.enthalpy)} triangles"
        return f"MetalSnapshot({heat}, plastic flow of {len(self.flow)} parts)"


@dataclass(frozen=True, eq=False)
class StoredInstant:
    """Field and metal at one instant of a shot.

    time          seconds
    u             (n,) nodal values of A_phi / r, without a steady applied field, T
    u_t           (n,) rate of u in T/s; in metal that moves the rate of r^2 u over r^2
    conductivity  (m,) S/m of solid metal in each triangle
    mesh          where the metal stands at this instant
    metal         heat and plastic flow
    """

    time: float
    u: np.ndarray
    u_t: np.ndarray
    conductivity: np.ndarray
    mesh: Mesh
    metal: MetalSnapshot

    def __repr__(self) -> str:
        return f"StoredInstant({self.time:.6g} s, {len(self.u)} nodes, {len(self.conductivity)} triangles)"
