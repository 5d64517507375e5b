"""Energy and charge of a bank, and how they compare with what a person survives."""
from __future__ import annotations

from fieldsolve.rig.source import Source

LETHAL_ENERGY = 10.0                     # J: above this a discharge can be lethal
LETHAL_SOURCE = Source("data sheet 'Discharge of capacitors'", "read")
FIBRILLATION_CHARGE = 0.1                # C through the chest within 10 ms to 5 s
FIBRILLATION_SOURCE = Source("Kroll, Panescu, Pratt et al., EMBC 2016, abstract", "read")


def stored_energy(capacitance: float, voltage: float) -> float:
    """Energy of a charged capacitor in joule:  E = C V^2 / 2;  farad, volt.  Source: closed form (computed)."""
    return 0.5 * capacitance * voltage**2


def stored_charge(capacitance: float, voltage: float) -> float:
    """Charge in coulomb:  Q = C V;  farad, volt.  Source: closed form (computed)."""
    return capacitance * voltage


def times_lethal(energy: float) -> float:
    """How many times an energy in joule is the 10 J that can be lethal.

    Source: data sheet 'Discharge of capacitors' (read).  Caution: smaller energies have killed by falls and reflexes.
    """
    return energy / LETHAL_ENERGY


def times_fibrillation(charge: float) -> float:
    """How many times a charge in coulomb is the 100 mC that can stop a heart, given within 10 ms to 5 s through the chest.

    Source: Kroll, Panescu, Pratt et al., EMBC 2016, abstract (read).
    """
    return charge / FIBRILLATION_CHARGE
