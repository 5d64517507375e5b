"""Gaps that close, arcs that turn round or go out, and the crowbar: what changes the circuit of a discharge at an event."""
from __future__ import annotations

import math
from dataclasses import replace

from fieldsolve.circuit.equations import CONDUCTING, EXTINGUISHED, OPEN, Switches
from fieldsolve.shot.integrator.field_circuit import Circuit
from fieldsolve.shot.integrator.newton_stage import solve_implicit_stage
from fieldsolve.shot.integrator.stage_rates import StageRates
from fieldsolve.shot.integrator.state import DischargeState

STEP_AFTER_CLOSING = 2e-3   # of the end time, at most: the first step after a gap or the crowbar has closed
PROBE_STAGE = 1e-3          # of the next step: the stage that tells where a circuit goes from here
DUE = 1e-9                  # of the time: what is to switch this soon switches now


def next_switch_time(network: Circuit, state: DischargeState, end_time: float) -> float:
    """The next time in seconds at which something is to be switched, or the end."""
    times = list(network.corner_times)
    times += [bank.fires_at for bank, arc in zip(network.banks, state.switches.arcs, strict=True) if arc == OPEN]
    crowbar = network.crowbar
    if crowbar is not None and not state.switches.crowbar and crowbar.fires_at is not None:
        times.append(crowbar.fires_at)
    return min([t for t in times if t > state.time * (1 + 1e-12)] + [end_time])


def settle_first_arcs(network: Circuit, state: DischargeState, end_time: float) -> None:
    """Signs of the arcs that burn from t = 0: of several banks the one at lower voltage may take current from the others at once."""
    if len(network.banks) < 2:
        return
    for k, arc in enumerate(state.switches.arcs):
        if arc == CONDUCTING and not _over_gap(network, state, k) > network.banks[k].arc_voltage:
            _set_arc_sign(network, state, k, end_time)


def fire_due_switches(network: Circuit, state: DischargeState, end_time: float) -> None:
    """Close the gaps and the crowbar whose time has come."""
    now = state.time * (1 + DUE)
    for k, bank in enumerate(network.banks):
        if state.switches.arcs[k] == OPEN and bank.fires_at <= now:
            _switch(state, state.switches.with_arc(k, CONDUCTING, 1.0), f"gap of {_bank_name(network, k)} closes", end_time)
            _set_arc_sign(network, state, k, end_time)
    crowbar = network.crowbar
    if crowbar is not None and not state.switches.crowbar and crowbar.fires_at is not None and crowbar.fires_at <= now:
        _fire_crowbar(network, state, "crowbar fires", end_time)


def switch_at_zero(network: Circuit, state: DischargeState, index: int, end_time: float) -> None:
    """What the zero of entry `index` of x switches: a bank's voltage fires the crowbar; a bank's current turns round, or its arc goes out.

    At a current zero the arc carries on if the voltage over the gap exceeds its drop.
    """
    if index < len(network.banks):
        _fire_crowbar(network, state, "bank voltage is zero: crowbar fires", end_time)
        return
    state.value[state.unknowns + index] = 0.0
    _set_arc_sign(network, state, index - len(network.banks), end_time)


def _fire_crowbar(network: Circuit, state: DischargeState, event: str, end_time: float) -> None:
    _switch(state, replace(state.switches, crowbar=True), event, end_time)
    for k, bank in enumerate(network.banks):                # without inductance a current may turn round in no time
        if bank.inductance == 0 and state.switches.arcs[k] == CONDUCTING:
            state.value[state.unknowns + network.bank_current_index(k)] = 0.0
            _set_arc_sign(network, state, k, end_time)


def _switch(state: DischargeState, switches: Switches, event: str, end_time: float) -> None:
    """Go on with other switches; in small steps where something closed, which an arc that only turns round or goes out does not."""
    if (switches.arcs.count(OPEN), switches.crowbar) != (state.switches.arcs.count(OPEN), state.switches.crowbar):
        state.step_length = min(state.step_length, STEP_AFTER_CLOSING * end_time)
    state.switches, state.model, state.end_stage, state.stage_rates = switches, None, None, StageRates()
    state.add_event(event)


def _set_arc_sign(network: Circuit, state: DischargeState, k: int, end_time: float) -> None:
    """Let bank k's arc carry the current that its open gap's voltage drives, or put it out."""
    over_gap = _over_gap(network, state, k)
    if abs(over_gap) > network.banks[k].arc_voltage:
        direction = "flows from its positive side" if over_gap > 0 else "reverses"
        _switch(state, state.switches.with_arc(k, CONDUCTING, math.copysign(1.0, over_gap)),
                f"current of {_bank_name(network, k)} {direction}", end_time)
    else:
        _switch(state, state.switches.with_arc(k, EXTINGUISHED, 1.0), f"arc of {_bank_name(network, k)} goes out", end_time)


def _over_gap(network: Circuit, state: DischargeState, k: int) -> float:
    """Volts over the gap of bank k were it open, positive from the bank's positive side."""
    g = PROBE_STAGE * state.step_length
    probe = solve_implicit_stage(state.system, network, state.switches.with_arc(k, EXTINGUISHED, 1.0), state.value, g, state.time)
    state.count(stages=1, factorizations=probe.factorizations)
    x = (state.value + g * probe.derivative)[state.unknowns:]
    return float(x[network.bank_voltage_index(k)] - x[network.terminal_voltage_index])


def _bank_name(network: Circuit, k: int) -> str:
    return "the bank" if len(network.banks) == 1 else f"bank {k + 1}"
