"""What heat does to magnetism: the share that is left at a temperature, and the energy that its loss takes from the heat.

The field's energy at kept flux grows when metal loses its magnetism, by (nu_0 B^2/2 - integral of H dB) a unit of volume from all to none.
The metal's heat gives it, so that field and metal together keep their energy. That the heat capacity of metal in a field is not quite
that without one (the magnetocaloric effect) is left out.
"""
from __future__ import annotations

import numpy as np

from fieldsolve.field.system.eddy_current import EddySystem
from fieldsolve.shot.integrator.heating import Heating


class Demagnetization:
    """What of its magnetization the metal of a shot has kept at the end of the last step.

    kept   share by triangle of each zone with a curve;  gain  joule by which the field's energy would grow were all of it lost there
    taken  joule by part that the loss has taken from the metal's heat so far
    """

    def __init__(self, system: EddySystem, heating: Heating):
        self.heating = heating
        self.remaining = [np.ones(len(zone.points.triangles)) for zone in system.zones]
        self.gain = [np.zeros(len(zone.points.triangles)) for zone in system.zones]
        self.absorbed_energy = {zone.part: 0.0 for zone in system.zones}

    def accept(self, system: EddySystem, total: np.ndarray) -> np.ndarray:
        """Energy in joule that each triangle's heat gives to the field in a step that ended at a whole field u; (m,)."""
        released = np.zeros(len(system.mesh.triangles))
        remaining_now = self.heating.magnetization_after(released)
        for k, zone in enumerate(system.zones):
            remaining, gain = remaining_now[zone.points.triangles], zone.demagnetization_energy(total)
            released[zone.points.triangles] = 0.5 * (self.remaining[k] - remaining) * (self.gain[k] + gain)
            self.absorbed_energy[zone.part] += float(released[zone.points.triangles].sum())
            self.remaining[k], self.gain[k] = remaining, gain
        return released

    def observables(self) -> dict[tuple[str, str], float]:
        """Joule that the loss of magnetism has taken from each part's heat, by quantity and part."""
        return {("magnetism_energy", part): absorbed_energy for part, absorbed_energy in self.absorbed_energy.items()}
