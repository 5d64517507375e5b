"""Currents in metal, solid or stranded: voltage of the turns, heat of each cell, current density, force."""
from __future__ import annotations

import math

import numpy as np

from fieldsolve.field.fem.quadrature import QuadraturePoints
from fieldsolve.field.fem.reference_triangle import kept_entries
from fieldsolve.field.system.eddy_current import EddySystem


def turn_voltages(system: EddySystem, u_t: np.ndarray, currents: dict[str, float]) -> np.ndarray:
    """V_k = (I + c_k . u_t) / G_k of every solid turn in volt; shape (k,)."""
    current = np.array([currents.get(name, 0.0) for name in system.turn_coil])
    return (current + system.turn_integrals @ u_t) / system.turn_conductance


def triangle_heat_rates(system: EddySystem, u_t: np.ndarray, currents: dict[str, float]) -> np.ndarray:
    """Exact integral of J^2 / sigma over the volume of each triangle in watt, J = sigma (V / (2 pi r) - r u_t); shape (m,).

    That is sigma [V^2 g - 2 V (r, u_t) + 2 pi u_t . m u_t] with g the integral of 1 / (2 pi r); in a stranded winding J is given.
    """
    heat, metal = system.windings.heat(strand_currents(system, currents)), np.flatnonzero(system.sigma)
    local, kept = u_t[system.mesh.triangles[metal]], kept_entries(system.mesh.order)
    products = local[:, kept.rows] * local[:, kept.columns] * (2 * math.pi * kept.multiplicity)
    per_sigma = np.einsum("ke,ke->k", system.unit_conduction[metal], products)
    voltage = _region_voltages(system, turn_voltages(system, u_t, currents))[system.mesh.region[metal]]
    per_sigma += voltage**2 * system.unit_conductance[metal] - 2 * voltage * (system.unit_turn[metal] * local).sum(axis=1)
    heat[metal] += system.sigma[metal] * per_sigma
    return heat


def strand_currents(system: EddySystem, currents: dict[str, float]) -> np.ndarray:
    """Ampere per turn of the stranded winding each triangle is in, zero elsewhere; shape (m,)."""
    found = np.zeros(len(system.mesh.triangles))
    for name, current in currents.items():
        if system.section.part(name).stranded:
            found[system.mesh.part_triangles(name)] = current
    return found


def electric_field(system: EddySystem, nodes: np.ndarray, regions: np.ndarray, u_t: np.ndarray, currents: dict[str, float]) -> np.ndarray:
    """E_phi = V / (2 pi r) - r u_t in V/m at nodes of solid metal, each seen from the zone with a region number; both (q,)."""
    r, voltage = system.mesh.nodes[nodes, 0], _region_voltages(system, turn_voltages(system, u_t, currents))[regions]
    drive = np.divide(voltage, 2 * math.pi * r, out=np.zeros(len(r)), where=voltage != 0)
    return drive - r * u_t[nodes]


def _region_voltages(system: EddySystem, voltages: np.ndarray) -> np.ndarray:
    """Voltage of the turn with each region number, zero of bodies."""
    by_region = np.zeros(max(int(system.mesh.region.max()), 0) + 2)
    by_region[system.turn_regions] = voltages
    return by_region


def current_density(system: EddySystem, points: QuadraturePoints, u_t: np.ndarray, currents: dict[str, float]) -> np.ndarray:
    """J_phi in A/m^2 at points in metal, in a stranded winding the mean over its section; shape (m, q)."""
    region = system.mesh.region[points.triangles]
    voltage = np.where(region > 0, _region_voltages(system, turn_voltages(system, u_t, currents))[np.maximum(region, 0)], 0.0)[:, None]
    drive = voltage / (2 * math.pi * np.maximum(points.r, 1e-300)) if voltage.any() else 0.0
    density = system.sigma[points.triangles, None] * (drive - points.r * points.values_of(u_t))
    winding = system.windings.density[points.triangles]
    return density + (winding * strand_currents(system, currents)[points.triangles])[:, None] if winding.any() else density


def lorentz_nodal_forces(
    system: EddySystem, points: QuadraturePoints, u: np.ndarray, u_t: np.ndarray, currents: dict[str, float]
) -> np.ndarray:
    """Force J x B in newton on each node, over the full circumference: integral of (J B_z, -J B_r) times its shape function; (n, 2).

    The same functions move the nodes, so that the forces' work on them is that of the field.
    """
    J = current_density(system, points, u_t, currents) * 2 * math.pi * points.r * points.dA
    B_r, B_z = points.flux_density(u)
    nodes = points.mesh.triangles[points.triangles].ravel()
    local = (np.einsum("mq,mqa->ma", J * B, points.value) for B in (B_z, -B_r))
    return np.stack([np.bincount(nodes, weights=f.ravel(), minlength=points.mesh.size) for f in local], axis=1)


def lorentz_force(
    system: EddySystem, points: QuadraturePoints, u: np.ndarray, u_t: np.ndarray, currents: dict[str, float]
) -> tuple[float, float]:
    """Radial and axial force in newton on the metal the quadrature points cover: f_r = J B_z, f_z = -J B_r."""
    J = current_density(system, points, u_t, currents) * 2 * math.pi * points.r * points.dA
    B_r, B_z = points.flux_density(u)
    return float((J * B_z).sum()), float(-(J * B_r).sum())
