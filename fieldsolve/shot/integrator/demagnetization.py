"""What heat does to magnetism: the share that is left at a temperature, and the energy that its loss takes from the heat.

The field's energy at kept flux grows when metal loses its magnetism, by (nu_0 B^2/2 - integral of H dB) a unit of volume from all to none.
The metal's heat gives it, so that field and metal together keep their energy. That the heat capacity of metal in a field is not quite
that without one (the magnetocaloric effect) is left out.
"""
from __future__ import annotations

import numpy as np

from fieldsolve.field.system.eddy_current import EddySystem
from fieldsolve.shot.integrator.heating import Heating


class Magnetism:
    """What of its magnetization the metal of a shot has kept at the end of the last step.

    kept   share by triangle of each zone with a curve;  gain  joule by which the field's energy would grow were all of it lost there
    taken  joule by part that the loss has taken from the metal's heat so far
    """

    def __init__(self, system: EddySystem, heating: Heating):
        self.heating = heating
        self.kept = [np.ones(len(zone.points.triangles)) for zone in system.zones]
        self.gain = [np.zeros(len(zone.points.triangles)) for zone in system.zones]
        self.taken = {zone.part: 0.0 for zone in system.zones}

    def accept(self, system: EddySystem, total: np.ndarray) -> np.ndarray:
        """Energy in joule that each triangle's heat gives to the field in a step that ended at a whole field u; (m,)."""
        given = np.zeros(len(system.mesh.triangles))
        left = self.heating.magnetism_after(given)
        for k, zone in enumerate(system.zones):
            kept, gain = left[zone.points.triangles], zone.gain(total)
            given[zone.points.triangles] = 0.5 * (self.kept[k] - kept) * (self.gain[k] + gain)
            self.taken[zone.part] += float(given[zone.points.triangles].sum())
            self.kept[k], self.gain[k] = kept, gain
        return given

    def readings(self) -> dict[tuple[str, str], float]:
        """Joule that the loss of magnetism has taken from each part's heat, by quantity and part."""
        return {("magnetism_energy", part): taken for part, taken in self.taken.items()}
