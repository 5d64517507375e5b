"""What is read off one instant of a shot: currents, voltages, fields, forces, powers."""
from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from fieldsolve.field.quantities import induced_currents
from fieldsolve.field.system.eddy_current import EddySystem
from fieldsolve.shot.integrator import field_circuit as coupling
from fieldsolve.shot.integrator.field_circuit import Circuit
from fieldsolve.shot.network import bank_places, coils_of
from fieldsolve.shot.observables import insulation
from fieldsolve.shot.observables.probes import Probes


def without_closed_turns(system: EddySystem, network: Circuit) -> EddySystem:
    """Solid rings that no circuit drives are bodies: V = 0, so their turns leave the border."""
    kept = np.array([name in coils_of(network) for name in system.turn_coil], dtype=bool)
    if kept.all():
        return system
    coils = tuple(name for name, stays in zip(system.turn_coil, kept, strict=True) if stays)
    return replace(system, turn_regions=system.turn_regions[kept], turn_coil=coils).with_conductivity(system.sigma)


def readings_of(probes: Probes, network: Circuit, model, value, slope, heat) -> dict:
    """Readings by (quantity, place) of a field and circuit of value and slope, under `heat` in W of each triangle."""
    n = model.system.mesh.size
    x, x_t = value[n:], slope[n:]
    names = coils_of(network)
    currents = dict(zip(names, model.coil_currents(x).tolist(), strict=True))
    rates = dict(zip(names, model.coil_currents(x_t).tolist(), strict=True))
    readings = probes.read(model.system, value[:n] + 0.5 * network.applied_field, slope[:n], currents, heat, network.applied_field)
    for name in names:
        resistance = coupling.resistance_of(model.system, name)
        readings["current", name], readings["current_rate", name] = currents[name], rates[name]
        load = 2 * math.pi * model.system.load_of(name)
        readings["voltage", name] = resistance * currents[name] + float(load @ slope[:n])
        readings["flux", name] = float(load @ value[:n])
        if not network.banks:
            readings["resistive_voltage", name] = resistance * currents[name]
    rounds = induced_currents.turn_voltages(model.system, slope[:n], currents)
    voltages = {name: readings["voltage", name] for name in names}
    of_turns = {name: rounds[turns] for name, turns in ((name, model.system.turns_of(name)) for name in names) if len(turns)}
    readings |= insulation.readings(model.system.section, network.branches, voltages, of_turns)
    for k, _ in enumerate(network.banks):
        place = bank_places(network)[k]
        readings["voltage", place], readings["current", place] = x[network.bank_voltage(k)], x[network.bank_current(k)]
        readings["current_rate", place] = x_t[network.bank_current(k)]
    if network.banks:
        readings["current", "crowbar"], readings["current_rate", "crowbar"] = x[network.crowbar_current], x_t[network.crowbar_current]
    readings["energy", "field"] = model.system.energy(value[:n], network.applied_field)
    return readings
