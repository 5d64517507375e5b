"""How large the embedded error of a step is, beside the shot's own currents, voltages, field, forces and conductivity."""
from __future__ import annotations

import math

import numpy as np

from fieldsolve.motion.movement import Movement
from fieldsolve.ode import Step
from fieldsolve.shot.integrator.field_circuit import Circuit, Stage, mean_heat_rate
from fieldsolve.shot.integrator.heating import Heating
from fieldsolve.shot.integrator.state import DischargeState
from geometries.errors import SolveError


def relative_error(network: Circuit, heating: Heating | None, movement: Movement | None, state: DischargeState, step: Step,
                   stages: tuple[Stage, ...], weights: tuple[float, ...]) -> float:
    """Largest embedded error of a step, each relative to the state's scale; the field's in the norm of its energy.

    The current of a crowbar across a capacitor may be far above the scale, and is then measured by itself.

    Raises SolveError where heat or the error itself, in which the bodies' sizes stand, is not a number.
    """
    size, end = state.unknowns, stages[-1]
    u, x = end.model.filter_error(step.error[:size]) if size else step.error[:0], step.error[size:]
    currents = np.abs(step.value[size:][network.currents])
    errors = [np.abs(x[network.voltages]).max(initial=0.0) / state.voltage_scale,
              (np.abs(x[network.currents]) / np.maximum(currents, state.current_scale)).max(initial=0.0),
              math.sqrt(0.5 * float(u @ (end.model.operator.system.full_stiffness @ u)) / state.field_scale) if size else 0.0]
    if movement:
        errors.append(movement.error(step.length, end.forces, state.stored_energy))
    if heating:
        energy = step.length * mean_heat_rate(stages, weights)
        require_numbers("heat", energy)
        errors.append(heating.conductivity_error(end.model.system.metal_conductivity, energy, end.heat_rate))
    require_numbers("error of the step", np.array(errors))
    return max(errors)


def check_step(state: DischargeState, step: Step) -> None:
    """Let the scale of the field's energy rise to that at the end of a step; SolveError where field or circuit is not a number."""
    size = state.unknowns
    require_numbers("field", step.value[:size])
    require_numbers("circuit", step.value[size:])
    state.field_scale = max(state.field_scale, state.field_energy(step.value[:size]))


def require_numbers(name: str, values: np.ndarray) -> None:
    """SolveError where not all of the values are numbers."""
    if not np.isfinite(values).all():
        raise SolveError(f"the {name} is not a number; a material or a size may not be one")
