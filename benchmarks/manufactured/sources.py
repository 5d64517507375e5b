"""Loads of a prescribed field's sources, and a circuit that feeds them into a discharge as prescribed currents."""
from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace

import numpy as np

import geometries as geo
from benchmarks.manufactured.rectangle import SIDE, border_edges
from benchmarks.manufactured.solution import Coefficient, Reluctivity, curl_of_field, flux_density
from fieldsolve.circuit.bank import Leads
from fieldsolve.circuit.equations import Switches
from fieldsolve.field.fem.assembly import vector
from fieldsolve.field.fem.quadrature import gauss_points
from fieldsolve.field.fem.reference_triangle import edge_functions, rule_of_forms
from fieldsolve.field.system.eddy_current import EddySystem
from geometries.cross_section import Section
from geometries.mesh import Mesh
from geometries.parts import Part

SOURCE_RESISTANCE = 1e16        # ohm, so large that no induced voltage changes a source's current
INSTANTS = 16                   # at which a load is computed, to be interpolated between by the polynomial through all


def source_load(mesh: Mesh, nu: Mapping[int, Reluctivity]) -> np.ndarray:
    """Load (n,) of curl(nu B) in the triangles of each region number, and of the tangential field along the border of each.

    integral of r^2 v (dH_r/dz - dH_z/dr) + line integral of r^2 v H . dl, counter-clockwise: between zones a current sheet.
    """
    total = np.zeros(mesh.size)
    for region, of_zone in nu.items():
        triangles = np.flatnonzero(mesh.region == region)
        total += density_load(mesh, triangles, lambda r, z, of_zone=of_zone: curl_of_field(of_zone, r, z))
        total += _border_load(mesh, border_edges(mesh, triangles), of_zone)
    return total


def density_load(mesh: Mesh, triangles: np.ndarray, density: Coefficient) -> np.ndarray:
    """Load (n,) of a current density in A/m^2: integral of J r^2 v."""
    points = gauss_points(mesh, triangles, rule_of_forms(mesh.order))
    weighted = density(points.r, points.z) * points.r**2 * points.dA
    return vector(mesh, triangles, np.einsum("mq,mqa->ma", weighted, points.value))


def _border_load(mesh: Mesh, edges: np.ndarray, nu: Reluctivity) -> np.ndarray:
    value, slope, w = edge_functions(mesh.order)
    r_nodes, z_nodes = np.moveaxis(mesh.nodes[edges], 2, 0)
    r, z = r_nodes @ value, z_nodes @ value
    B_r, B_z = flux_density(r, z)
    along = nu.value(r, z) * (B_r * (r_nodes @ slope) + B_z * (z_nodes @ slope))
    return np.bincount(edges.ravel(), weights=((r**2 * along * w) @ value.T).ravel(), minlength=mesh.size)


@dataclass(frozen=True, eq=False)
class Sources:
    """A load in time: sum of loads (n, k) times weights(t) (k,)."""

    loads: np.ndarray
    weights: Callable[[float], np.ndarray]

    @property
    def names(self) -> tuple[str, ...]:
        """A name for each."""
        return tuple(f"source {k}" for k in range(self.loads.shape[1]))


def interpolated_sources(load: Callable[[float], np.ndarray], end_time: float) -> Sources:
    """A load (n,) that is smooth in time, through its values at Chebyshev's points of the interval."""
    places = np.cos(np.pi * (np.arange(INSTANTS) + 0.5) / INSTANTS)
    to_coefficients = np.linalg.inv(np.polynomial.chebyshev.chebvander(places, INSTANTS - 1))
    values = np.stack([load(0.5 * end_time * (1 + place)) for place in places], axis=1)
    return Sources(values, lambda time: np.polynomial.chebyshev.chebvander(2 * time / end_time - 1, INSTANTS - 1) @ to_coefficients)


@dataclass(frozen=True, eq=False)
class SectionWithSources:
    """A section and line currents that stand for the sources; where these lines are does not matter, their loads are given."""

    section: Section
    sources: tuple[Part, ...]

    @property
    def parts(self) -> tuple[Part, ...]:
        """All parts."""
        return (*self.section.parts, *self.sources)

    def part(self, name: str) -> Part:
        """The part of that name."""
        return next(part for part in self.parts if part.name == name)


def with_sources(system: EddySystem, sources: Sources) -> EddySystem:
    """The same field with the sources' loads as those of coils."""
    section = SectionWithSources(system.section, tuple(geo.loop(radius=SIDE, name=name) for name in sources.names))
    return replace(system, section=section, unit_loads=dict(zip(sources.names, sources.loads.T, strict=True)))


@dataclass(frozen=True, eq=False)
class SourceCircuit:
    """A circuit of one branch for each source, whose current is the source's weight: R x = R weight(t)."""

    sources: Sources
    banks: tuple = ()
    crowbar: None = None
    leads: Leads = field(default_factory=Leads)
    corner_times: tuple[float, ...] = ()
    applied_field: float = 0.0

    @property
    def coil_names(self) -> tuple[str, ...]:
        """The sources."""
        return self.sources.names

    @property
    def branches(self) -> tuple[tuple[str, ...], ...]:
        """Each source alone."""
        return tuple((name,) for name in self.sources.names)

    @property
    def size(self) -> int:
        """Number of sources."""
        return len(self.sources.names)

    @property
    def currents(self) -> slice:
        """All unknowns."""
        return slice(0, self.size)

    @property
    def voltages(self) -> slice:
        """None of them."""
        return slice(0, 0)

    def branch_current_index(self, k: int) -> int:
        """The same number."""
        return k

    def initial_state(self) -> np.ndarray:
        """None: the prescribed fields are zero at t = 0, to the last digit so that no rounding makes a field of its own off the axis."""
        return np.zeros(self.size)

    def matrices(self, switches: Switches, coil_resistance: Mapping[str, float],
                 time: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """E, A and b."""
        size = self.size
        return np.zeros((size, size)), SOURCE_RESISTANCE * np.eye(size), SOURCE_RESISTANCE * self._weights(time)

    def scales(self, inductance: float) -> tuple[float, float, float, float]:
        """Ones: every step of a study is as long as it says."""
        return 1.0, 1.0, 1.0, 1.0

    def _weights(self, time: float) -> np.ndarray:
        return np.asarray(self.sources.weights(time), dtype=float).ravel()
