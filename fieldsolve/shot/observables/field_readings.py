"""The field in the bores and at points while metal moves, read off the stored instants, many at once."""
from __future__ import annotations

import itertools
from collections.abc import Sequence

import numpy as np

from fieldsolve.field.fem.gradient_recovery import recovered_values
from fieldsolve.field.fem.mesh_stack import MeshStack
from fieldsolve.field.fem.point_location import locate_in_each
from fieldsolve.field.quantities.bore_peak import bores_on, stacked_bore_peaks
from fieldsolve.shot.instant import StoredInstant
from fieldsolve.shot.observables.probes import Rims, observation_places, readings_at_points
from geometries.cross_section import Bore, CrossSection

LOT = 16        # instants read at once: more takes no less time for each


def field_readings(section: CrossSection, bodies: tuple[str, ...], rims: Rims, instants: Sequence[StoredInstant],
                   applied_field: float) -> list[dict[tuple[str, str], float]]:
    """The largest |B| of each bore, B_z at points and the pressures at the rims of bodies at each instant, by (quantity, place)."""
    found = []
    for _, group in itertools.groupby(instants, key=lambda instant: id(instant.mesh.triangles)):
        of_topology = list(group)
        for start in range(0, len(of_topology), LOT):
            lot = of_topology[start:start + LOT]
            stack = MeshStack(tuple(instant.mesh for instant in lot))
            total = np.concatenate([instant.u for instant in lot]) + 0.5 * applied_field
            bores = [bores_on(section, mesh) for mesh in stack.meshes]
            peaks, points = _in_bores(section, stack, bores, total), _at_points(section, bodies, rims, stack, bores, total)
            found += [in_bores | at_points for in_bores, at_points in zip(peaks, points, strict=True)]
    return found


def _in_bores(section: CrossSection, stack: MeshStack, bores: list[dict[str, Bore]],
              total: np.ndarray) -> list[dict[tuple[str, str], float]]:
    """Of fields u (t n,) on the meshes of a stack, on each of which the bores are as given."""
    peaks = {name: stacked_bore_peaks(section, stack, [of_mesh[name] for of_mesh in bores], total) for name in bores[0]}
    return [{("field", name): of_bore[i].value for name, of_bore in peaks.items()} for i in range(len(bores))]


def _at_points(section: CrossSection, bodies: tuple[str, ...], rims: Rims, stack: MeshStack, bores: list[dict[str, Bore]],
               total: np.ndarray) -> list[dict[tuple[str, str], float]]:
    """B_z at points and the pressures at the rims, of fields u (t n,) on the meshes of a stack with these bores."""
    places = [observation_places(section, mesh, bodies, of_rims, of_mesh)
              for mesh, of_rims, of_mesh in zip(stack.meshes, rims.places_in(stack), bores, strict=True)]
    at = [np.array(list(of_mesh.values())) for of_mesh in places]
    triangle, place = (np.concatenate(found) for found in zip(*locate_in_each(stack, at), strict=True))
    r, z = np.concatenate(at).T
    u, u_r, u_z = recovered_values(stack, total, triangle, place, r, z)
    B = np.split(np.column_stack([-r * u_z, 2 * u + r * u_r]), np.cumsum([len(points) for points in at])[:-1])
    return [readings_at_points(dict(zip(of_mesh, values, strict=True))) for of_mesh, values in zip(places, B, strict=True)]
