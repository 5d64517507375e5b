"""Transport of flux with the metal: r^2 u of a material point is conserved while the point moves."""
from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from geometries.mesh import AIR, Mesh


@dataclass(frozen=True, eq=False)
class FluxTransport:
    """Nodes of the bodies of one moving mesh, and those of them that lie on the axis.

    metal          nodes of bodies, and on_axis those with r = 0
    axis_corners   (k, 3) corners of the triangles of bodies at the axis
    axis_places    (k, 6) index in `on_axis` of each of their nodes, else -1
    """

    metal: np.ndarray
    on_axis: np.ndarray
    axis_corners: np.ndarray
    axis_places: np.ndarray

    def flux_ratio(self, before: np.ndarray, after: np.ndarray) -> np.ndarray:
        """(r_before / r_after)^2 of each node (n,), 1 where it is air; nodes (n, 2) before and after in metres.

        On the axis it is the limit, 1 / (d r_after / d r_before)^2, the inverse square of the hoop stretch, from the triangles there.
        """
        flux_ratio = np.ones(len(before))
        off_axis = self.metal[before[self.metal, 0] > 0]
        flux_ratio[off_axis] = (before[off_axis, 0] / after[off_axis, 0]) ** 2
        if len(self.on_axis):
            flux_ratio[self.on_axis] = self._hoop_stretch(before, after) ** -2
        return flux_ratio

    def _hoop_stretch(self, before: np.ndarray, after: np.ndarray) -> np.ndarray:
        """d r_after / d r_before at each node on the axis: mean over the triangles around it."""
        (a, c), (b, d) = (before[self.axis_corners[:, k]].T - before[self.axis_corners[:, 0]].T for k in (1, 2))
        first, second = (after[self.axis_corners[:, k], 0] - after[self.axis_corners[:, 0], 0] for k in (1, 2))
        stretch = (d * first - c * second) / (a * d - b * c)
        there = self.axis_places >= 0
        at, values = self.axis_places[there], np.broadcast_to(stretch[:, None], there.shape)[there]
        return np.bincount(at, weights=values) / np.bincount(at)


def build_flux_transport(mesh: Mesh) -> FluxTransport:
    """Flux transport on a mesh by every body, turn and winding, all that is not air."""
    bodies = mesh.triangles[mesh.region > AIR]
    metal = np.unique(bodies)
    on_axis = metal[mesh.nodes[metal, 0] == 0]
    number = np.full(mesh.size, -1)
    number[on_axis] = np.arange(len(on_axis))
    places = number[bodies]
    touching = (places >= 0).any(axis=1)
    return FluxTransport(metal, on_axis, bodies[touching][:, :3], places[touching])
