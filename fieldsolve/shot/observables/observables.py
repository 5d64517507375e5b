"""What is read off one instant of a shot: currents, voltages, fields, forces, powers."""
from __future__ import annotations

import math

from fieldsolve.field.quantities import induced_currents
from fieldsolve.shot.integrator import field_circuit as coupling
from fieldsolve.shot.integrator.field_circuit import Circuit
from fieldsolve.shot.network import bank_places, coils_of
from fieldsolve.shot.observables import insulation
from fieldsolve.shot.observables.probes import Probes


def compute_observables(probes: Probes, network: Circuit, model, value, derivative, heat) -> dict:
    """Readings by (quantity, place) of a field and circuit of value and slope, under `heat` in W of each triangle."""
    n = model.system.mesh.size
    x, x_t = value[n:], derivative[n:]
    names = coils_of(network)
    currents = dict(zip(names, model.coil_currents(x).tolist(), strict=True))
    rates = dict(zip(names, model.coil_currents(x_t).tolist(), strict=True))
    observables = probes.observe(
        model.system, value[:n] + 0.5 * network.applied_field, derivative[:n], currents, heat, network.applied_field
    )
    for name in names:
        resistance = coupling.dc_resistance(model.system, name)
        observables["current", name], observables["current_rate", name] = currents[name], rates[name]
        load = 2 * math.pi * model.system.load_of(name)
        observables["voltage", name] = resistance * currents[name] + float(load @ derivative[:n])
        observables["flux", name] = float(load @ value[:n])
        if not network.banks:
            observables["resistive_voltage", name] = resistance * currents[name]
    turn_voltage = induced_currents.turn_voltages(model.system, derivative[:n], currents)
    voltages = {name: observables["voltage", name] for name in names}
    by_coil = {name: turn_voltage[turns] for name, turns in ((name, model.system.turns_of(name)) for name in names) if len(turns)}
    observables |= insulation.insulation_voltages(model.system.section, network.branches, voltages, by_coil)
    for k, _ in enumerate(network.banks):
        place = bank_places(network)[k]
        observables["voltage", place], observables["current", place] = x[network.bank_voltage_index(k)], x[network.bank_current_index(k)]
        observables["current_rate", place] = x_t[network.bank_current_index(k)]
    if network.banks:
        observables["current", "crowbar"], observables["current_rate", "crowbar"] = (
            x[network.crowbar_current_index],
            x_t[network.crowbar_current_index],
        )
    observables["energy", "field"] = model.system.energy(value[:n], network.applied_field)
    return observables
