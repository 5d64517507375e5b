"""The field of a shot at a stored instant or between two of them, put together from what was kept."""
from __future__ import annotations

from dataclasses import replace

import numpy as np

from fieldsolve.field.fem.nodal_field import NodalField
from fieldsolve.field.transient.field import ShotField
from fieldsolve.shot.history import bracket
from fieldsolve.shot.instant import StoredInstant
from geometries.curved_edges import has_curved_edge
from geometries.mesh import Mesh

SAME_TIME = 1e-9        # of a step, or of the shot: times as near as that are the same


def field_at(shot, time: float) -> ShotField:
    """The field at any time of a shot in seconds, with the field of the run that it was last compared with at the same time."""
    field = field_between(shot, time)
    if not shot.comparisons:
        return field
    comparison = shot.comparisons[-1]
    return replace(field, compared=(comparison, field_between(comparison.run, min(field.time, float(comparison.run.times[-1])))))


def field_at_instant(shot, k: int) -> ShotField:
    """The field at stored instant k."""
    instant = shot.instants[k]
    currents = {name: float(shot.series("current", name)[k]) for name in shot.coils}
    return _field(shot, k, replace(instant, time=float(shot.times[k])), currents)


def field_between(shot, time: float) -> ShotField:
    """The field at any time of a shot in seconds, that of a stored instant as it is.

    Where metal stays: cubics through the two stored instants around and their rates; just after an event, which changes the rates,
    parabolas without the first.  Where metal moves: nodes and field on straight lines.  Both are of second order at least, as the
    steps are.  Where the air was meshed anew between the two it is the field at the nearer one, and its `time` says so.
    """
    k_before, k_after, share = bracket(shot.times, time)
    before, after = shot.instants[k_before], shot.instants[k_after]
    anew = before.mesh.topology != after.mesh.topology
    if anew or min(share, 1 - share) < SAME_TIME:
        return field_at_instant(shot, k_before if share < 0.5 else k_after)
    between = _on_curves if before.mesh is after.mesh else _on_lines
    instant, currents = between(shot, time, k_before, k_after, share)
    conductivity = before.conductivity + share * (after.conductivity - before.conductivity)
    return _field(shot, k_after, replace(instant, time=time, conductivity=conductivity), currents)


def _on_curves(shot, time: float, k_before: int, k_after: int, share: float) -> tuple[StoredInstant, dict[str, float]]:
    """Field and currents between two instants on one mesh, by their rates."""
    before, after = shot.instants[k_before], shot.instants[k_after]
    span, start = shot.times[[k_before, k_after]], shot.times[k_before]
    after_event = any(abs(event - start) < SAME_TIME * shot.times[-1] for event in shot.history.events)

    def curve(values, rates):
        return _curve(span[1] - span[0], share, values, rates, after_event)
    currents = {name: float(curve(shot.series("current", name)[[k_before, k_after]],
                                  shot.series("current_rate", name)[[k_before, k_after]])[0]) for name in shot.coils}
    u, u_t = curve((before.u, after.u), (before.u_t, after.u_t))
    return replace(after, u=u, u_t=u_t), currents


def _curve(step: float, share: float, values, rates, after_event: bool) -> tuple[np.ndarray, np.ndarray]:
    """Value and rate at a share s of a step h: the cubic of both values and rates, or the parabola without the rate at the start.

        x(s) = x_1 - p h x_1' + p^2 (d + s b),  p = 1 - s,  d = x_0 - x_1 + h x_1',  b = h x_0' - h x_1' + 2 d, of the parabola 0
    """
    left, slope = 1 - share, step * rates[1]
    deviation = values[0] - values[1] + slope                   # at the start, of the straight line through the end
    bend = 0.0 if after_event else step * rates[0] - slope + 2 * deviation
    value = values[1] - left * slope + left**2 * (deviation + share * bend)
    return value, (slope - 2 * left * (deviation + share * bend) + left**2 * bend) / step


def _on_lines(shot, time: float, k_before: int, k_after: int, share: float) -> tuple[StoredInstant, dict[str, float]]:
    """Nodes, field and currents on straight lines between two instants on meshes of the same triangles."""
    before, after = shot.instants[k_before], shot.instants[k_after]
    nodes, u, u_t = (one + share * (other - one) for one, other in
                     ((before.mesh.nodes, after.mesh.nodes), (before.u, after.u), (before.u_t, after.u_t)))
    mesh: Mesh = replace(after.mesh, nodes=nodes, curved=has_curved_edge(nodes, after.mesh.triangles))
    currents = {name: float(np.interp(time, shot.times, shot.series("current", name))) for name in shot.coils}
    return replace(after, mesh=mesh, u=u, u_t=u_t), currents


def _field(shot, k: int, instant: StoredInstant, currents: dict[str, float]) -> ShotField:
    """The field of an instant with the magnetization of the stored one k."""
    system, remaining = shot.system_on(instant.mesh).with_conductivity(instant.conductivity), shot.metal.remaining_magnetization(k)
    system = system if remaining is None else system.with_magnetization_fraction(remaining)
    return ShotField(time=instant.time, section=shot.section, solution=NodalField(instant.mesh, instant.u, shot.network.applied_field),
                     u_t=instant.u_t, system=system, currents=currents)
