"""The rows of a network against Kirchhoff's laws and the laws of its parts, written out here for random states and rates."""
import math
from dataclasses import replace

import numpy as np
import pytest

import fieldsolve as fs
from fieldsolve.circuit.equations import CONDUCTING, EXTINGUISHED, OPEN, Network, Switches

FIRST = fs.Bank(capacitance=100e-6, voltage=6e3, resistance=5e-3, inductance=300e-9, arc_voltage=80.0)
SECOND = fs.Bank(capacitance=40e-6, voltage=5e3, resistance=9e-3, inductance=700e-9, arc_voltage=50.0, fires_at=10e-6)
LEADS = fs.Leads(resistance=2e-3, inductance=60e-9)
ACROSS_COIL, ACROSS_CAPACITOR = (fs.Crowbar(resistance=4e-3, inductance=20e-9, across=across) for across in ("coil", "capacitor"))
RESISTANCE = {"lower": 11e-3, "upper": 13e-3, "outer": 17e-3}
BRANCHES = (("lower", "upper"), ("outer",))
INDUCTANCE = np.array([[2e-6, 0.3e-6], [0.3e-6, 5e-6]])            # of the two branches


def network(crowbar=None, banks=(FIRST, SECOND)):
    return Network(banks, BRANCHES, LEADS, crowbar)


def residual(circuit, switches, x, rate):
    """E x' + A x + induced voltages - b."""
    E, A, b = circuit.matrices(switches, RESISTANCE, 0.0)
    rows = E @ rate + A @ x - b
    currents = [circuit.branch_current_index(k) for k in range(2)]
    rows[currents] += INDUCTANCE @ rate[currents]
    return rows


def random_state(circuit, seed):
    chance = np.random.default_rng(seed)
    return chance.uniform(-1, 1, circuit.size) * 1e4, chance.uniform(-1, 1, circuit.size) * 1e9


@pytest.mark.parametrize("fired", [False, True])
@pytest.mark.parametrize("crowbar", [None, ACROSS_COIL, ACROSS_CAPACITOR], ids=["none", "coil", "capacitor"])
@pytest.mark.parametrize("arcs", [(CONDUCTING, CONDUCTING), (CONDUCTING, OPEN), (EXTINGUISHED, CONDUCTING)])
def test_the_rows_are_the_laws_of_the_network(crowbar, fired, arcs):
    """Unknowns v_C (2), i (2), I (2), i_crowbar, v."""
    circuit, signs = network(crowbar), (1.0, -1.0)
    assert circuit.size == 8 and circuit.coil_names == ("lower", "upper", "outer")
    x, rate = random_state(circuit, 1)
    rows = residual(circuit, Switches(arcs, signs, crowbar=fired), x, rate)
    (v_1, v_2, i_1, i_2, I_1, I_2, i_c, v), (dv_1, dv_2, di_1, di_2, dI_1, dI_2, di_c, _) = x, rate
    short = fired and crowbar is not None
    over_capacitor = short and crowbar.across == "capacitor"
    capacitor_1 = FIRST.capacitance * dv_1 + i_1 + (i_c if over_capacitor else 0)
    loops = [bank.inductance * di + bank.resistance * i + v - v_C + sign * bank.arc_voltage if arc == CONDUCTING else i
             for bank, arc, sign, v_C, i, di in zip((FIRST, SECOND), arcs, signs, (v_1, v_2), (i_1, i_2), (di_1, di_2), strict=True)]
    branch_1 = (60e-9 + 2e-6) * dI_1 + 0.3e-6 * dI_2 + (2e-3 + 11e-3 + 13e-3) * I_1 - v
    branch_2 = (60e-9 + 5e-6) * dI_2 + 0.3e-6 * dI_1 + (2e-3 + 17e-3) * I_2 - v
    crowbar_row = 20e-9 * di_c + 4e-3 * i_c - (v_1 if over_capacitor else v) if short else i_c
    node = i_1 + i_2 - I_1 - I_2 - (i_c if short and not over_capacitor else 0)
    assert rows == pytest.approx([capacitor_1, SECOND.capacitance * dv_2 + i_2, *loops, branch_1, branch_2, crowbar_row, node], rel=1e-12)


def test_the_unknowns_at_the_start_are_the_charges():
    assert network().initial_state().tolist() == [6e3, 5e3, 0, 0, 0, 0, 0, 0]
    assert network().initial_state()[network().voltages].tolist() == [6e3, 5e3]
    currents = list(range(8))[network().currents]
    assert currents == [2, 3, 4, 5, 6] == [*map(network().bank_current_index, (0, 1)), *map(network().branch_current_index, (0, 1)),
                                           network().crowbar_current_index]
    assert network().bank_voltage_index(1) == 1 and network().terminal_voltage_index == 7
    assert network().bank_names == ("bank 1", "bank 2") and network(banks=(FIRST,)).bank_names == ("bank",)
    assert network().corner_times == () and network().applied_field == 0.0


def test_scales_are_those_of_the_ring_without_losses():
    """C V^2 / 2 = L I^2 / 2, and the first step is a small part of the time sqrt(L C) in which the current rises."""
    bank = replace(FIRST, arc_voltage=0.0, resistance=0.0)
    current, voltage, energy, first = Network((bank,), (("lower",),), LEADS).scales(2e-6)
    inductance = 2e-6 + 300e-9 + 60e-9
    assert current == pytest.approx(6e3 * math.sqrt(100e-6 / inductance)) and voltage == 6e3
    assert energy == pytest.approx(bank.energy) == pytest.approx(0.5 * inductance * current**2)
    assert 1e-3 <= first / math.sqrt(inductance * 100e-6) <= 5e-3


def test_scales_of_two_banks_bound_their_currents():
    """Two equal banks in parallel ring as one of twice the capacitance with half the inductance: the scale is not below that."""
    pair = (FIRST, FIRST)
    current, voltage, energy, first = Network(pair, (("lower",),), LEADS).scales(2e-6)
    inductance = 2e-6 + 0.5 * 300e-9 + 60e-9
    ring = 6e3 * math.sqrt(200e-6 / inductance)
    assert ring <= current <= 2 * ring and voltage == 6e3 == Network((SECOND, FIRST), (("lower",),), LEADS).scales(2e-6)[1]
    assert 2 * FIRST.energy <= energy <= 8.001 * FIRST.energy and first <= 5e-3 * math.sqrt(inductance * 200e-6)
    half = Network((FIRST, replace(FIRST, inductance=0.0)), (("lower",),)).scales(2e-6)[0]
    assert half == pytest.approx(12e3 * math.sqrt(200e-6 / 2.3e-6))


def test_a_switch_is_thrown_in_a_copy():
    switches = Switches((OPEN, CONDUCTING), (1.0, 1.0))
    thrown = switches.with_arc(1, EXTINGUISHED, -1.0)
    assert thrown == Switches((OPEN, EXTINGUISHED), (1.0, -1.0)) and switches.arcs == (OPEN, CONDUCTING)
    assert replace(thrown, crowbar=True).with_arc(0, CONDUCTING, 1.0).crowbar


def test_a_network_is_printed_short():
    assert repr(network()) == "Network(2 banks, branches: lower, upper; outer, no crowbar)"
    assert repr(network(ACROSS_COIL)).endswith("outer, crowbar)")
