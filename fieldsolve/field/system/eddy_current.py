"""Matrices of a field with eddy currents: curl form K, conduction M, and the turns of solid coils as a border.

A solid turn k of a coil with given current I has J = sigma (V_k / (2 pi r) - r u_t) and I = G_k V_k - c_k . u_t.  Without V_k this is
K u + (M - sum c_k c_k^T / (2 pi G_k)) u_t = s I, with s = sum c_k / (2 pi G_k): a low-rank term beside sparse matrices.
"""
from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from scipy.sparse import csc_array, csr_array

from fieldsolve.field.fem.assembly import both_triangles, lower_triangle, vector
from fieldsolve.field.fem.quadrature import seven_point_rule
from fieldsolve.field.fem.reference_triangle import kept_entries
from fieldsolve.field.linear_algebra.solvers import LinearSolver
from fieldsolve.field.system import coefficients, magnetostatic
from fieldsolve.field.system.bh_curve_zone import BHCurveZone, bh_curve_zones
from fieldsolve.field.system.conductors import local_load, unit_current_load
from fieldsolve.field.system.magnetic_moment import magnetization_moment
from fieldsolve.field.system.prescribed_reluctivity import PrescribedReluctivity
from fieldsolve.field.system.solid_turns import assemble_turns, unit_conductance
from fieldsolve.field.system.stranded_windings import StrandedWindings, assemble_windings
from geometries.cross_section import Section
from geometries.errors import InputError
from geometries.mesh import Mesh
from geometries.parts import Part
from geometries.pickling import fields_only

NEARLY_ALL = 0.9        # of a mesh's triangles


@dataclass(frozen=True, eq=False, repr=False)
class EddySystem:
    """What does not depend on frequency or time, and what follows from the conductivity as it is.

    section, mesh          what the matrices are of;  nu  (m,) reluctivity of each triangle in m/H
    stiffness_local        (m, entries) local matrices of K
    stiffness              lower triangle of K; full_stiffness  K with both triangles
    unit_conduction        (m, entries) local matrices of r^3 u v, unit_turn (m, nodes) local vectors of r v, zero outside solid metal
    unit_conductance       (m,) integral of 1 / (2 pi r) over each triangle of a solid coil's turns
    unit_loads             load s of one ampere per turn of each coil, at the conductivity of the cold metal
    turn_regions           region number of each solid turn of the coils; turn_coil its coil's name
    sigma                  (m,) conductivity in S/m
    conduction             lower triangle of M
    turn_vectors           (n, k) c_k of each solid turn, sparse; turn_conductance (k,) G_k
    windings               the stranded windings
    zones                  metal with a B-H curve, which K takes as vacuum (but for the K of `tangent`)
    prescribed             metal with a B-H curve whose reluctivity follows from an amplitude, which K takes as it is
    linear_solver          what factors the matrices; None: the default of `choose_solver`
    """

    section: Section
    mesh: Mesh
    nu: np.ndarray
    stiffness_local: np.ndarray
    stiffness: csc_array
    full_stiffness: csc_array
    unit_conduction: np.ndarray
    unit_turn: np.ndarray
    unit_conductance: np.ndarray
    unit_loads: dict[str, np.ndarray]
    turn_regions: np.ndarray
    turn_coil: tuple[str, ...]
    sigma: np.ndarray
    conduction: csc_array
    turn_vectors: csr_array
    turn_conductance: np.ndarray
    windings: StrandedWindings
    zones: tuple[BHCurveZone, ...] = ()
    prescribed: tuple[PrescribedReluctivity, ...] = ()
    linear_solver: LinearSolver | None = None

    __getstate__ = fields_only

    def __repr__(self) -> str:
        metal = int((self.sigma > 0).sum())
        return f"EddySystem({self.mesh.size} unknowns, {metal} of {len(self.sigma)} triangles conduct, {len(self.turn_coil)} solid turns)"

    def with_conductivity(self, sigma: np.ndarray) -> EddySystem:
        """The same system with other conductivities (m,) in S/m: hotter metal, in windings too, or solid metal taken away."""
        windings = self.windings.with_conductivity(sigma)
        sigma = np.where(self.windings.density > 0, 0.0, sigma)
        vectors, conductance = assemble_turns(self.mesh, self.turn_regions, self.unit_turn, self.unit_conductance, sigma)
        return replace(self, sigma=sigma, conduction=_conduction(self.mesh, self.unit_conduction, sigma), turn_vectors=vectors,
                       turn_conductance=conductance, windings=windings)

    def with_magnetization_fraction(self, fraction: np.ndarray) -> EddySystem:
        """The same system where each triangle has kept a share (m,) of the magnetization at 293.15 K."""
        zones = (replace(zone, magnetization_fraction=fraction[zone.points.triangles, None]) for zone in self.zones)
        return replace(self, zones=tuple(zones))

    def with_reluctivity(self, prescribed: tuple[PrescribedReluctivity, ...]) -> EddySystem:
        """The same system with given reluctivities in the metal that has curves, which K takes as it is."""
        nu, local = self.nu.copy(), self.stiffness_local.copy()
        for zone in prescribed:
            nu[zone.points.triangles], local[zone.points.triangles] = zone.mean_reluctivity(), zone.matrices()
        return replace(self._with_stiffness(local), nu=nu, zones=(), prescribed=prescribed)

    def reluctivity_load(self) -> np.ndarray:
        """Load of one tesla of uniform field on permeable metal; (n,)."""
        linear = magnetostatic.reluctivity_load(self.mesh, coefficients.linear_reluctivity(self.section, self.mesh))
        return linear + sum(vector(self.mesh, zone.points.triangles, zone.load()) for zone in self.prescribed)

    def magnetization_moment(self, total: np.ndarray) -> complex:
        """Magnetic moment along z in A m^2 of permeable metal at a total field's nodal u."""
        linear = coefficients.linear_reluctivity(self.section, self.mesh)
        return magnetization_moment(self.mesh, linear, np.zeros(len(linear)), total) + sum(zone.moment(total) for zone in self.prescribed)

    def tangent(self, total: np.ndarray) -> EddySystem:
        """The same system with the tangent reluctivity of its curves at a total field u in its K."""
        local = self.stiffness_local.copy()
        for zone in self.zones:
            local[zone.points.triangles] = zone.matrices(total, tangent=True)
        return self._with_stiffness(local)

    def _with_stiffness(self, local: np.ndarray) -> EddySystem:
        stiffness = magnetostatic.assemble_stiffness(self.mesh, local)
        return replace(self, stiffness_local=local, stiffness=stiffness, full_stiffness=both_triangles(self.mesh, stiffness))

    def bh_curve_load(self, total: np.ndarray) -> np.ndarray:
        """Load of the magnetization of metal with B-H curves at a total field u: integral of r (nu_0 B - H) . curl(v); (n,)."""
        return sum((vector(self.mesh, zone.points.triangles, zone.bh_curve_load(total)) for zone in self.zones), np.zeros(self.mesh.size))

    def energy(self, u: np.ndarray, applied_field: float) -> float:
        """Magnetic energy in joule of what currents and metal add to a uniform field: pi u . K u, with curves the integral of H dB.

        What rises at the rate at which the currents' sources give energy less the ohmic heat, also where the uniform field is at work.
        """
        total = u + 0.5 * applied_field
        curves = sum(float((zone.energy(total) - zone.vacuum_energy(total)).sum()) for zone in self.zones)
        steady = applied_field * float(magnetostatic.reluctivity_load(self.mesh, self.nu) @ u) if applied_field else 0.0
        return math.pi * (float(u @ (self.full_stiffness @ u)) - 2 * steady) + curves

    @property
    def metal_conductivity(self) -> np.ndarray:
        """(m,) conductivity of solid metal and of the metal in stranded windings in S/m."""
        return self.sigma + self.windings.sigma

    def moved(self, mesh: Mesh, sigma: np.ndarray | None = None) -> EddySystem:
        """The same metal on the same triangles with nodes at other places, and with other conductivities (m,) in S/m if given.

        What touches no node that moved is kept.
        """
        has_moved = np.logical_or(*(mesh.nodes != self.mesh.nodes).T)
        affected = np.flatnonzero(has_moved[mesh.triangles.T].any(axis=0))
        if not len(affected):
            return replace(self, mesh=mesh) if sigma is None else replace(self, mesh=mesh).with_conductivity(sigma)
        metal = affected[self.sigma[affected] > 0]
        curl, conduction = self._moved_stiffness(mesh, affected), self.unit_conduction.copy()
        turn, conductance = self.unit_turn.copy(), self.unit_conductance.copy()
        conduction[metal] = magnetostatic.unit_conduction(mesh, metal)
        turn[metal] = local_load(mesh, metal, "turn", 1.0)
        turns = metal[conductance[metal] > 0]
        conductance[turns] = unit_conductance(mesh, turns)
        coils = {name: self._moved_load(mesh, name, turn, conductance)
                 if has_moved[mesh.triangles[mesh.part_triangles(name)]].any() else load for name, load in self.unit_loads.items()}
        stiffness = magnetostatic.assemble_stiffness(mesh, curl)
        windings = self.windings
        if (windings.density[affected] > 0).any():
            windings = replace(assemble_windings(self.section, mesh), sigma=windings.sigma)
        zones = tuple(replace(zone, points=seven_point_rule(mesh, zone.points.triangles)) for zone in self.zones)
        moved = replace(self, mesh=mesh, windings=windings, zones=zones, stiffness_local=curl, stiffness=stiffness,
                        full_stiffness=both_triangles(mesh, stiffness), unit_conduction=conduction, unit_turn=turn,
                        unit_conductance=conductance, unit_loads=coils)
        if sigma is None and not len(turns):
            return replace(moved, conduction=_conduction(mesh, conduction, self.sigma))
        return moved.with_conductivity(self.metal_conductivity if sigma is None else sigma)

    def _moved_stiffness(self, mesh: Mesh, affected: np.ndarray) -> np.ndarray:
        """Local matrices of K on a moved mesh; where nearly all triangles are affected, it takes less to compute them all."""
        if len(affected) > NEARLY_ALL * len(mesh.triangles):
            return magnetostatic.stiffness_local(mesh, self.nu)
        local = self.stiffness_local.copy()
        local[affected] = magnetostatic.stiffness_local(mesh, self.nu, affected)
        return local

    def _moved_load(self, mesh: Mesh, coil: str, turn: np.ndarray, conductance: np.ndarray) -> np.ndarray:
        """Load of one ampere per turn on a moved mesh; of solid turns from the integrals of r v and of 1 / (2 pi r) there."""
        if coil not in self.turn_coil:
            return unit_current_load(mesh, self.section.part(coil))
        zones = mesh.zone_triangles(coil)
        strength = np.concatenate([np.full(len(zone), 1 / (2 * math.pi * conductance[zone].sum())) for zone in zones])
        triangles = mesh.part_triangles(coil)
        return vector(mesh, triangles, turn[triangles] * strength[:, None])

    def load_of(self, coil: str) -> np.ndarray:
        """Load s of one ampere per turn at the conductivity as it is: sum of c_k / (2 pi G_k) over solid turns."""
        turns = self.turns_of(coil)
        if not len(turns):
            return self.unit_loads[coil]
        strength = np.zeros(len(self.turn_conductance))
        strength[turns] = 1 / (2 * math.pi * self.turn_conductance[turns])
        return self.turn_vectors @ strength

    @cached_property
    def full_conduction(self) -> csc_array:
        """M with both triangles, of metal alone."""
        return both_triangles(self.mesh, self.conduction, in_metal=True)

    @cached_property
    def turn_integrals(self) -> csc_array:
        """C^T, which gives c_k . u of each solid turn; (k, n), sparse."""
        return self.turn_vectors.T

    def local_conduction(self, triangles: np.ndarray) -> np.ndarray:
        """Local matrices of M of some triangles; (k, entries)."""
        return self.unit_conduction[triangles] * self.sigma[triangles, None]

    def turns_of(self, coil: str) -> np.ndarray:
        """Numbers of the solid turns of a coil."""
        return np.array([k for k, name in enumerate(self.turn_coil) if name == coil], dtype=int)

    def part_vector(self, part: str, zone: int | None = None) -> np.ndarray:
        """c = integral of sigma r v over a part or one of its zones; shape (n,)."""
        triangles = self.triangles(part, zone)
        return vector(self.mesh, triangles, self.unit_turn[triangles] * self.sigma[triangles, None])

    def quadratic_form(self, part: str, u: np.ndarray, zone: int | None = None) -> float:
        """u* M u over a part or zone: integral of sigma r^3 |u|^2."""
        triangles = self.triangles(part, zone)
        local, values = self.local_conduction(triangles), u[self.mesh.triangles[triangles]]
        kept = kept_entries(self.mesh.order)
        products = (values[:, kept.rows].conj() * values[:, kept.columns]).real
        return float((local * products * kept.multiplicity).sum())

    def part_product(self, part: str, u: np.ndarray) -> np.ndarray:
        """M u of one part alone; shape (n,)."""
        triangles = self.triangles(part)
        full_local = self.local_conduction(triangles)[:, kept_entries(self.mesh.order).place]      # (k, nodes, nodes)
        products = np.einsum("kab,kb->ka", full_local, u[self.mesh.triangles[triangles]])
        return np.array([vector(self.mesh, triangles, values) for values in (products.real, products.imag)]).T @ np.array([1, 1j])

    def triangles(self, part: str, zone: int | None = None) -> np.ndarray:
        """Numbers of the triangles of a part or of one of its zones."""
        return self.mesh.part_triangles(part) if zone is None else self.mesh.zone_triangles(part)[zone]

    @cached_property
    def coil_resistance(self) -> dict[str, float | None]:
        """Resistance of each coil to direct current in ohm; None for line currents and stranded windings without fill or material."""
        return {part.name: self._resistance(part) for part in self.section.parts if part.is_coil}

    def _resistance(self, part: Part) -> float | None:
        if not part.zones:
            return None
        if part.stranded:
            return self.windings.resistance(self.mesh.part_triangles(part.name))
        return float((1 / self.turn_conductance[self.turns_of(part.name)]).sum())


def eddy_system(section: Section, mesh: Mesh, linear_solver: LinearSolver | None = None) -> EddySystem:
    """Assemble the matrices of a cross-section on a mesh.  Raises InputError for a solid coil without material.

    Metal with a B-H curve is vacuum in K: a solver that does not follow `zones` refuses such metal beforehand.
    """
    nu, sigma = coefficients.linear_reluctivity(section, mesh), coefficients.conductivity(section, mesh)
    coils = [part for part in section.parts if part.is_coil]
    solid = [part for part in coils if part.zones and not part.stranded]
    for part in solid:
        if any(zone.material is None or zone.material.conductivity <= 0 for zone in part.zones):
            raise InputError(f"{part.name}, a coil of solid turns, has no conducting material: give it one, such as copper, or make it "
                             "stranded")
    metal = np.flatnonzero(sigma)
    regions = np.array([k + 1 for k, (name, _) in enumerate(mesh.regions) if name in {part.name for part in solid}], dtype=int)
    turns = np.flatnonzero(np.isin(mesh.region, regions))
    count = len(mesh.triangles)
    unit_conduction = _spread(count, metal, magnetostatic.unit_conduction(mesh, metal))
    unit_turn = _spread(count, metal, local_load(mesh, metal, "turn", 1.0))
    conductance_integrals = _spread(count, turns, unit_conductance(mesh, turns))
    vectors, conductance = assemble_turns(mesh, regions, unit_turn, conductance_integrals, sigma)
    curl = magnetostatic.stiffness_local(mesh, nu)
    stiffness = magnetostatic.assemble_stiffness(mesh, curl)
    return EddySystem(section=section, mesh=mesh, nu=nu,
                      stiffness_local=curl, stiffness=stiffness, full_stiffness=both_triangles(mesh, stiffness),
                      unit_conduction=unit_conduction, unit_turn=unit_turn, unit_conductance=conductance_integrals,
                      unit_loads={part.name: unit_current_load(mesh, part) for part in coils},
                      turn_regions=regions, turn_coil=tuple(mesh.regions[k - 1][0] for k in regions),
                      sigma=sigma, conduction=_conduction(mesh, unit_conduction, sigma),
                      turn_vectors=vectors, turn_conductance=conductance, windings=assemble_windings(section, mesh),
                      zones=tuple(bh_curve_zones(section, mesh, seven_point_rule)), linear_solver=linear_solver)


def _spread(count: int, triangles: np.ndarray, values: np.ndarray) -> np.ndarray:
    """Values of some of `count` triangles, zero in the others."""
    spread = np.zeros((count, *values.shape[1:]))
    spread[triangles] = values
    return spread


def _conduction(mesh: Mesh, unit_conduction: np.ndarray, sigma: np.ndarray) -> csc_array:
    """Lower triangle of M."""
    metal = np.flatnonzero(sigma)
    return lower_triangle(mesh, unit_conduction[metal] * sigma[metal, None], triangles=metal)
