"""The field of a shot at a stored instant or between two of them, put together from what was kept."""
from __future__ import annotations

import numpy as np
from scipy.interpolate import CubicHermiteSpline

from fieldsolve.field.fem.nodal_field import NodalField
from fieldsolve.field.transient.field import ShotField
from fieldsolve.shot.history import bracket
from fieldsolve.shot.result.error_model import Comparison


def field_at_instant(shot, k: int, compared: tuple[Comparison, ShotField] | None = None) -> ShotField:
    """The field at stored instant k; `compared` is another run with its field at the same time."""
    instant = shot.instants[k]
    currents = {name: float(shot.series("current", name)[k]) for name in shot.coils}
    return _field(shot, float(shot.times[k]), k, (instant.u, instant.u_t, instant.conductivity), currents, compared)


def field_between(shot, time: float) -> ShotField:
    """The field at any time of a shot: by cubics through two stored instants and their rates, with the conductivity on a straight line.

    Where the metal moves it is the field at the stored instant before.
    """
    k_before, k_after, share = bracket(shot.times, time)
    before, after = shot.instants[k_before], shot.instants[k_after]
    if k_before == k_after or before.mesh is not after.mesh:
        return field_at_instant(shot, k_before)
    cubic = CubicHermiteSpline(shot.times[[k_before, k_after]], np.array([before.u, after.u]), np.array([before.u_t, after.u_t]))
    conductivity = before.conductivity + share * (after.conductivity - before.conductivity)
    currents = {name: float(np.interp(time, shot.times, shot.series("current", name))) for name in shot.coils}
    return _field(shot, time, k_after, (cubic(time), cubic(time, 1), conductivity), currents, None)


def _field(shot, time: float, k: int, field: tuple[np.ndarray, np.ndarray, np.ndarray], currents: dict[str, float],
           compared: tuple[Comparison, ShotField] | None) -> ShotField:
    """The field of (u, u_t, conductivity) on the mesh and with the magnetization of instant k."""
    (u, u_t, conductivity), mesh = field, shot.instants[k].mesh
    system, remaining = shot.system_on(mesh).with_conductivity(conductivity), shot.metal.remaining_magnetization(k)
    system = system if remaining is None else system.with_magnetization_fraction(remaining)
    return ShotField(time=time, section=shot.section, solution=NodalField(mesh, u, shot.network.applied_field), u_t=u_t, system=system,
                     currents=currents, compared=compared)
