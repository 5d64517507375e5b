"""Bodies that flow: their cells and metal, and their state."""
from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from fieldsolve.materials.flow_stress import FlowStressLaw
from fieldsolve.materials.flow_stress.cells import MixedLaws, law_of_cells
from fieldsolve.materials.heat_content import HeatContent
from fieldsolve.motion.constitutive.temperature import HeatContents
from fieldsolve.motion.contract import MotionEnergy
from fieldsolve.motion.plastic_flow.quad_elements import (
    SHAPE_TABLE,
    ElementGeometry,
    characteristic_lengths,
    element_geometry,
    evaluate_map,
    reference_frame,
)
from fieldsolve.motion.plastic_flow.quad_mesh import QuadMesh
from fieldsolve.motion.plastic_flow.selective_mass_scaling import MassScaling, thin_row_scaling


@dataclass(frozen=True, eq=False)
class Solid:
    """Bodies as one system, made by `build_solid`; nothing here changes while they move.

    mesh             cells and nodes at rest
    mass             (nodes,) kg
    density          (cells,) kg/m^3 of the cold metal
    bulk, shear      (cells,) moduli K and G in Pa; K stays when metal melts
    flow_stress      flow-stress law of the cells
    taylor_quinney   (cells,) share of the plastic work that turns into heat
    heat_contents    heat content of the cells of each zone
    mass_scaling     of thin rows of cells
    """

    mesh: QuadMesh
    mass: np.ndarray
    density: np.ndarray
    bulk: np.ndarray
    shear: np.ndarray
    flow_stress: FlowStressLaw | MixedLaws
    taylor_quinney: np.ndarray
    heat_contents: HeatContents
    mass_scaling: MassScaling

    @cached_property
    def corners(self) -> np.ndarray:
        """(4, cells) nodes of the cells."""
        return np.ascontiguousarray(self.mesh.quads.T)

    @cached_property
    def reference_geometry(self) -> ElementGeometry:
        """The cells at rest."""
        return element_geometry(evaluate_map(as_complex(self.mesh.nodes), self.corners))

    @cached_property
    def least_crossing(self) -> float:
        """Seconds that a wave takes across the thinnest cell at rest, its mass scaling included."""
        return float((self.mass_scaling.time_scale * characteristic_lengths(self.reference_geometry) / self.sound).min())

    @cached_property
    def sound(self) -> np.ndarray:
        """(cells,) speed of waves of compression, m/s."""
        return np.sqrt((self.bulk + 4 / 3 * self.shear) / self.density)

    @cached_property
    def frame(self) -> tuple[np.ndarray, np.ndarray]:
        """What `element_rotation` needs."""
        return reference_frame(self.reference_geometry.maps)

    @cached_property
    def corner_table(self) -> np.ndarray:
        """(most cells that meet, nodes) indices of each node's values in the flattened corner values (4, cells); `4 cells` for none."""
        node = self.corners.ravel()
        order = np.argsort(node, kind="stable")
        count = np.bincount(node, minlength=len(self.mesh.nodes))
        rank = np.arange(len(node)) - np.repeat(np.cumsum(count) - count, count)
        table = np.full((count.max(), len(count)), len(node))
        table[rank, node[order]] = order
        return table

    def to_nodes(self, corner_values: np.ndarray) -> np.ndarray:
        """Sums (nodes,) of the cells' corner values (4, cells)."""
        return np.append(corner_values, 0.0)[self.corner_table].sum(axis=0)


@dataclass(frozen=True, eq=False)
class SolidState:
    """The bodies at one instant; `advance_solid` makes the next state and leaves this one as it is.

    time            s
    positions       (nodes, 2) r and z in m
    velocities      (nodes, 2) m/s
    plane, hoop     (4, cells) deviatoric stress in Pa at the points of each cell in its own axes, see `quad_elements`
    plastic_strain  (4, cells) equivalent plastic strain
    strain_rate     (4, cells) its rate in 1/s
    viscous         (cells,) bulk-viscous pressure in Pa
    enthalpy        (cells,) J/m^3 of cold metal above 293.15 K
    plastic_work    (cells,) J since the start
    viscous_work    (cells,) J since the start
    """

    time: float
    positions: np.ndarray
    velocities: np.ndarray
    plane: np.ndarray
    hoop: np.ndarray
    plastic_strain: np.ndarray
    strain_rate: np.ndarray
    viscous: np.ndarray
    enthalpy: np.ndarray
    plastic_work: np.ndarray
    viscous_work: np.ndarray


def build_solid(mesh: QuadMesh, metals: Sequence, heat_contents: Sequence[HeatContent | None]) -> Solid:
    """The bodies of a mesh.

    metals         mechanical data of each zone: density, youngs_modulus, poissons_ratio, flow_stress, taylor_quinney
    heat_contents  heat content of each zone, None where its temperature is not followed
    """
    density, stiffness, poisson, share = (np.array([getattr(metal, name) for metal in metals], dtype=float)[mesh.zone]
                                          for name in ("density", "youngs_modulus", "poissons_ratio", "taylor_quinney"))
    corners = np.ascontiguousarray(mesh.quads.T)
    rest = element_geometry(evaluate_map(as_complex(mesh.nodes), corners))
    corner_mass = density * (SHAPE_TABLE[:4].T @ rest.weights)
    mass = np.bincount(corners.ravel(), corner_mass.ravel(), minlength=len(mesh.nodes))
    names = [name for name, _ in mesh.zones]
    part = np.array([names.index(name) for name in names])[mesh.zone]
    zones = tuple((np.flatnonzero(mesh.zone == k), content) for k, content in enumerate(heat_contents))
    return Solid(
        mesh=mesh,
        mass=mass,
        density=density,
        bulk=stiffness / (3 * (1 - 2 * poisson)),
        shear=stiffness / (2 * (1 + poisson)),
        flow_stress=law_of_cells([metal.flow_stress for metal in metals], mesh.zone),
        taylor_quinney=share,
        heat_contents=zones,
        mass_scaling=thin_row_scaling(mesh.nodes, mesh.quads, part, corner_mass),
    )


def solid_at_rest(solid: Solid, enthalpy: np.ndarray | None = None) -> SolidState:
    """The bodies unmoved, free of stress, at 293.15 K or with a given enthalpy (cells,) in J/m^3."""
    cells, nodes = len(solid.density), solid.mesh.nodes
    point, cell = np.zeros((4, cells)), np.zeros(cells)
    return SolidState(
        time=0.0,
        positions=nodes.copy(),
        velocities=np.zeros_like(nodes),
        plane=point.astype(complex),
        hoop=point,
        plastic_strain=point,
        strain_rate=point,
        viscous=cell,
        enthalpy=cell if enthalpy is None else np.array(enthalpy, dtype=float),
        plastic_work=cell,
        viscous_work=cell,
    )


def current_geometry(solid: Solid, state: SolidState) -> ElementGeometry:
    """Current geometry of the cells."""
    return element_geometry(evaluate_map(as_complex(state.positions), solid.corners))


def volume_strain(solid: Solid, shape: ElementGeometry) -> np.ndarray:
    """Log of each cell's volume over that at rest, (cells,)."""
    return np.log(shape.volume / solid.reference_geometry.volume)


def solid_energy(solid: Solid, state: SolidState) -> MotionEnergy:
    """Where the work done on the bodies is, in J; with elements of this kind none is spent on hourglass modes.

        elastic = integral of (s:s)/(4 G) + K (ln J)^2/2 at rest,    s:s = 2 |plane|^2 + 3/2 hoop^2
    """
    shape = current_geometry(solid, state)
    distortion = shape.weights * (2 * np.abs(state.plane)**2 + 1.5 * state.hoop**2) / (4 * solid.shear)
    dilatation = solid.reference_geometry.volume * solid.bulk * volume_strain(solid, shape)**2 / 2
    kinetic = float((solid.mass[:, None] * state.velocities**2).sum() / 2) + solid.mass_scaling.kinetic_energy(state.velocities)
    return MotionEnergy(kinetic=kinetic, elastic=float(distortion.sum() + dilatation.sum()),
                        dissipated=float(state.plastic_work.sum()) + float(state.viscous_work.sum()))


def as_complex(vectors: np.ndarray) -> np.ndarray:
    """(n, 2) vectors as n complex numbers r + i z."""
    return np.ascontiguousarray(vectors, dtype=float).view(complex)[:, 0]


def as_vectors(numbers: np.ndarray) -> np.ndarray:
    """n complex numbers as (n, 2) vectors."""
    return np.ascontiguousarray(numbers).view(float).reshape(-1, 2)
