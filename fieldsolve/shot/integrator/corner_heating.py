"""Heat at the corners of the cells of solid metal, some of which lie on its surface, where a skin is hottest."""
from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.sparse import csr_array

from fieldsolve.field.quantities.induced_currents import electric_field
from fieldsolve.materials.heat_content import HeatContent, action_to_solidus
from geometries.mesh import Mesh


@dataclass(frozen=True, eq=False)
class ZoneCorners:
    """Corners of the cells of the zones of one solid metal of a part; where two zones meet, each has its own.

    part      its part's name
    regions   (k,) number in the mesh of each corner's zone
    nodes     (k,) numbers of the corners
    content   heat content of the metal
    cells     (c,) numbers of the zones' triangles
    averages  (k, c) sparse: mean over the cells round each corner
    """

    part: str
    regions: np.ndarray
    nodes: np.ndarray
    content: HeatContent
    cells: np.ndarray
    averages: csr_array

    def __repr__(self) -> str:
        return f"ZoneCorners({self.part}, {len(self.nodes)} corners of {self.content.name})"


class CornerHeating:
    """Enthalpy of the metal at the corners of its cells, adiabatic.

    The mean over a cell at the surface is short of the surface by about half the cell's share of a skin.  At the corners the field is
    known from its own nodal values, so that the heat there needs no extrapolation:

        dh = sigma(h) E^2 dt + dp,      E = V / (2 pi r) - r u_t,

    with dp what else heats the cells round the corner.  Metal is taken to keep its volume as it moves.

    zones     corners of each zone
    enthalpy  (k,) J/m^3 above 293.15 K at the corners of each zone
    action    (k,) A^2 s/m^4 there
    """

    def __init__(self, zones: Sequence[ZoneCorners]):
        self.zones = tuple(zones)
        self.enthalpy = tuple(np.zeros(len(zone.nodes)) for zone in zones)
        self.action = tuple(np.zeros(len(zone.nodes)) for zone in zones)

    def __repr__(self) -> str:
        return f"CornerHeating({len(self.zones)} zones)"

    def add_current(self, stages: Sequence, weights: Sequence[float], length: float) -> None:
        """Heat of the currents over a step of `length` seconds, by its stages and their weights.

        Of second order: sigma is that of the enthalpy in the middle, which the heat at the first sigma leads to.
        """
        if not self.zones:
            return
        squares = [weight * length * field**2 for weight, field in zip(weights, _fields(self.zones, stages), strict=True)]
        ends = np.cumsum([len(zone.nodes) for zone in self.zones])[:-1]
        enthalpies, actions = [], []
        for zone, h, action, square in zip(self.zones, self.enthalpy, self.action, np.split(sum(squares), ends), strict=True):
            half = 0.5 * square * zone.content.conductivity_of(np.maximum(h, 0.0))
            sigma = zone.content.conductivity_of(np.maximum(h + half, 0.0))
            enthalpies.append(h + sigma * square)
            actions.append(action + sigma**2 * square)
        self.enthalpy, self.action = tuple(enthalpies), tuple(actions)

    def add_to_cells(self, per_volume: np.ndarray) -> None:
        """Heat in J/m^3 that each triangle (m,) has taken up otherwise."""
        self.enthalpy = tuple(h + zone.averages @ per_volume[zone.cells] for zone, h in zip(self.zones, self.enthalpy, strict=True))

    def hottest(self, part: str) -> float:
        """Largest temperature in K at the corners of a part, 0 where it has none of solid metal."""
        hottest = [float(zone.content.temperature(np.maximum(h.max(), 0.0)))
                   for zone, h in zip(self.zones, self.enthalpy, strict=True) if zone.part == part]
        return float(np.max(hottest, initial=0.0))                                # NaN stays

    def action_share(self, part: str) -> float:
        """Largest action at the corners of a part over that to the solidus, 0 where it has none of solid metal that melts."""
        shares = [float(action.max()) / action_to_solidus(zone.content)
                  for zone, action in zip(self.zones, self.action, strict=True) if zone.part == part]
        return float(np.max(shares, initial=0.0))


def corner_heating(mesh: Mesh, zones: Sequence[tuple[str, np.ndarray, HeatContent]]) -> CornerHeating:
    """Cold corners of solid metal: of each metal of a part its name, triangles (c,) and heat content."""
    return CornerHeating([_zone_corners(mesh, *zone) for zone in zones])


def _zone_corners(mesh: Mesh, part: str, cells: np.ndarray, content: HeatContent) -> ZoneCorners:
    corners, place = np.unique(mesh.region[cells, None] * mesh.size + mesh.triangles[cells, :3], return_inverse=True)
    regions, nodes = np.divmod(corners, mesh.size)
    row, column = place.ravel(), np.repeat(np.arange(len(cells)), 3)
    share = 1.0 / np.bincount(row)[row]
    return ZoneCorners(part, regions, nodes, content, cells, csr_array((share, (row, column)), (len(nodes), len(cells))))


def _fields(zones: tuple[ZoneCorners, ...], stages: Sequence) -> list[np.ndarray]:
    """E in V/m at the corners of all zones one after the other, at each stage."""
    nodes = np.concatenate([zone.nodes for zone in zones])
    regions = np.concatenate([zone.regions for zone in zones])
    found = []
    for stage in stages:
        system = stage.model.system
        currents = stage.model.currents_by_name(stage.value[system.mesh.size:])
        found.append(electric_field(system, nodes, regions, stage.derivative[:system.mesh.size], currents))
    return found
