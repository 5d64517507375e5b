"""Energy that leaves the field and the circuit as heat: the powers at a stage, summed over the steps by the method's own weights."""
from __future__ import annotations

import numpy as np

from fieldsolve.circuit.equations import CONDUCTING, Switches
from fieldsolve.shot.integrator.field_circuit import Circuit, Stage

Key = tuple[str, str]       # (quantity, place) as in the history
OHMIC, ARC, JOULE = "ohmic_loss", "arc_loss", "joule_heat"


def circuit_losses(network: Circuit, switches: Switches, x: np.ndarray) -> dict[Key, float]:
    """Watt in the resistances and arcs of the circuit at its unknowns x; none where the currents are prescribed."""
    if not network.banks:
        return {}
    found = {}
    for k, (name, bank) in enumerate(zip(network.bank_names, network.banks, strict=True)):
        current = float(x[network.bank_current_index(k)])
        found[OHMIC, name] = bank.resistance * current**2
        found[ARC, name] = switches.signs[k] * bank.arc_voltage * current if switches.arcs[k] == CONDUCTING else 0.0
    branches = [float(x[network.branch_current_index(k)]) for k in range(len(network.branches))]
    found[OHMIC, "leads"] = network.leads.resistance * sum(current**2 for current in branches)
    if network.crowbar:
        found[OHMIC, "crowbar"] = network.crowbar.resistance * float(x[network.crowbar_current_index]) ** 2
    return found


def metal_losses(stage: Stage, parts: tuple[str, ...]) -> dict[Key, float]:
    """Watt of ohmic heat in each part at a stage."""
    mesh = stage.model.system.mesh
    return {(JOULE, name): float(stage.heat_rate[mesh.part_triangles(name)].sum()) for name in parts}


def loss_over_step(network: Circuit, switches: Switches, stages: tuple[Stage, ...], weights: tuple[float, ...], length: float,
                   parts: tuple[str, ...]) -> dict[Key, float]:
    """Joule that each place loses in a step of `length` seconds."""
    found: dict[Key, float] = {}
    for weight, stage in zip(weights, stages, strict=True):
        n = 0 if stage.model.system is None else stage.model.system.mesh.size
        powers = circuit_losses(network, switches, stage.value[n:]) | (metal_losses(stage, parts) if n else {})
        for key, power in powers.items():
            found[key] = found.get(key, 0.0) + weight * length * power
    return found
