"""Fifty random sections: their reduced fields are passive, alone and round random passive circuits."""
import math

import numpy as np
import pytest

import fieldsolve as fs
from benchmarks.shot_accuracy.random_rigs import random_rig
from fieldsolve.circuit.equations import CONDUCTING, Network, Switches
from fieldsolve.field.reduced.decay import decay_constants
from fieldsolve.field.reduced.projection import reduce_field
from fieldsolve.shot.integrator.field_circuit import dc_resistance
from fieldsolve.shot.network import shot_system
from fieldsolve.shot.reduced.phase import CircuitAndField
from geometries.mesher import mesh_section

SECTIONS = 50
TOP = 2 * math.pi * 3e5         # 1/s
ROUNDING = 1e-9


def linear_case(seed: int) -> fs.Case | None:
    """The case of a random rig; None where some metal of it has a B-H curve."""
    tables = {name: table for name, table in random_rig(seed, motion=False).tables.items() if name != "former"}
    case = fs.read_case(tables)
    metals = [zone.material for part in case.section.parts for zone in part.zones]
    return None if any(metal is not None and metal.bh_curve for metal in metals) else case


def random_network(random: np.random.Generator, coil: str) -> Network:
    """One to three banks without arcs, with and without resistance of their own, and with and without leads; one without impedance."""
    def drawn(low: float, high: float) -> float:
        return random.choice([0.0, 10 ** random.uniform(low, high)])
    banks = [fs.Bank(capacitance=10 ** random.uniform(-6, -3), voltage=random.uniform(10, 1e4), resistance=drawn(-4, -1),
                     inductance=drawn(-8, -6) if first else 10 ** random.uniform(-8, -6))
             for first in [True, False, False][:random.integers(1, 4)]]
    return Network(tuple(banks), ((coil,),), fs.Leads(resistance=drawn(-4, -2), inductance=drawn(-8, -6)))


def stored_energy(system: CircuitAndField, x: np.ndarray) -> np.ndarray:
    """Joule at unknowns (k, x + p): pi p . p + the capacitors', the banks' and the leads' own."""
    network = system.network
    found = math.pi * (x[:, network.size:] ** 2).sum(axis=1)
    found += 0.5 * network.leads.inductance * x[:, network.branch_current_index(0)] ** 2
    for k, bank in enumerate(network.banks):
        found += 0.5 * bank.capacitance * x[:, network.bank_voltage_index(k)] ** 2
        found += 0.5 * bank.inductance * x[:, network.bank_current_index(k)] ** 2
    return found


def check_passive(case: fs.Case, random: np.random.Generator) -> None:
    coil = Network(case.banks, (("coil",),))
    whole = shot_system(case.section, mesh_section(case.section, scale=2.0), coil)
    field = reduce_field(whole, ("coil",), TOP, float(decay_constants(whole, 1)[0]), 1e-3)
    assert (field.time_constants >= 0).all()
    assert (field.inductance(np.geomspace(1, 1e10, 50)).imag <= 0).all()           # resistance is -omega Im(L)
    for _ in range(4):
        system = CircuitAndField(random_network(random, "coil"), field, np.array([dc_resistance(whole, "coil")]))
        count = len(system.network.banks)
        switches = Switches((CONDUCTING,) * count, (1.0,) * count)
        equations = system.equations(switches)
        assert equations.growth_rates.real.max() < ROUNDING * system.rate
        phase = system.phase(equations, switches)
        start = phase.start(np.concatenate([system.network.initial_state(), random.normal(size=field.states)]))
        stored = stored_energy(system, phase.at(start, np.geomspace(1e-4, 30, 400) / system.rate)[0])
        assert np.diff(stored).max() < ROUNDING * stored[0]


@pytest.mark.parametrize("first", [0, pytest.param(1, marks=pytest.mark.slow)])
def test_random_sections_are_passive(first):
    """The first three; the others with the slow tests."""
    random, cases = np.random.default_rng(7 + first), filter(None, map(linear_case, range(100, 300)))
    chosen = [next(cases) for _ in range(3 if first == 0 else SECTIONS)]
    for case in chosen:
        check_passive(case, random)
