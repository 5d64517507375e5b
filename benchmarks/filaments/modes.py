"""Turns joined in series around closed bodies: their decaying current patterns.

With every unknown scaled to unit resistance, x = psi sqrt(resistance), the net current of turn t is c_t . x; it is the
same I in all turns.  A reflection of each turn's unknowns splits x into the current at rest, x = c_t I / |c_t|^2, and
what changes the section's current by nothing.  Then

    L y' + D y = e_I V,   D diagonal (1, and for I the resistance to direct current),
    tau_k q_k' + q_k = beta_k V,   I = sum beta_k q_k,   y = D^(-1/2) U q

with tau, U the eigenvalues (s) and eigenvectors of D^(-1/2) L D^(-1/2), which is symmetric and positive.
"""
from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.linalg import eigh

from benchmarks.filaments.coupling import inductance_matrix
from benchmarks.filaments.sections import Block, Wire

NEGLIGIBLE = 1e-12          # share of a mode in the admittance, at rest and at once, below which it is left out


@dataclass(frozen=True, eq=False)
class FilamentRig:
    """Conductors in a bank's circuit and around it.

    turns     in series, from the first to the last
    bodies    closed bodies by name
    mirrored  True: all of it lies above z = 0 and is half of the rig; the other half is its mirror image
    """

    turns: tuple[Block | Wire, ...]
    bodies: dict[str, Block | Wire]
    mirrored: bool = False

    @property
    def conductors(self) -> list[Block | Wire]:
        """Turns, then bodies."""
        return [*self.turns, *self.bodies.values()]

    @property
    def size(self) -> int:
        """Number of unknowns."""
        return sum(conductor.size for conductor in self.conductors)


@dataclass(frozen=True, eq=False)
class Modes:
    """Currents a_k = sqrt(tau_k) q_k that decay each by itself:  a_k' = -rate_k a_k + drive_k V,  I = sum drive_k a_k.

    sum of a^2 / 2 is the magnetic energy in joule.

    rates      1 / tau_k in 1/s
    drive      beta_k / sqrt(tau_k)
    currents   net current of each body from a: row by name
    patterns   scaled currents from a, whose sum of squares is heat in watt: rows by name, `coil` and the bodies'
    rest       resistance of the coil to direct current in ohm
    """

    rates: np.ndarray
    drive: np.ndarray
    currents: dict[str, np.ndarray]
    patterns: dict[str, np.ndarray]
    rest: float

    def impedance(self, frequency) -> complex:
        """V / I at the terminals in ohm:  1 / sum of drive_k^2 / (rate_k + j omega)."""
        return complex(1 / np.sum(self.drive**2 / (self.rates + 2j * np.pi * frequency)))


def modes_of(rig: FilamentRig, resistance: float = 0.0, inductance: float = 0.0) -> Modes:
    """Modes of the rig with a resistance (ohm) and an inductance (H) in series with its turns.

    Raises ArithmeticError where the inductance matrix is not positive definite.
    """
    L, scale, shares, starts = scale_unknowns(rig)
    coil_resistance = float(np.sum(scale**2))
    firsts = starts[: len(rig.turns)]
    kept = np.setdiff1d(np.arange(rig.size), firsts)
    D = np.ones(kept.size + 1)
    D[0] = coil_resistance + resistance
    joined = np.empty((D.size, D.size))
    joined[1:, 1:] = L[np.ix_(kept, kept)]
    joined[0, 1:] = joined[1:, 0] = scale @ L[np.ix_(firsts, kept)]
    joined[0, 0] = scale @ L[np.ix_(firsts, firsts)] @ scale + inductance
    tau, U = eigh(joined / np.sqrt(np.outer(D, D)), overwrite_a=True)
    if tau[0] <= 0:
        raise ArithmeticError(f"inductance matrix is not positive definite: smallest time constant {tau[0]:g} s")
    y = U / np.sqrt(np.outer(D, tau))
    kept_modes = _matters(y[0], tau)
    y = y[:, kept_modes]
    ends = np.searchsorted(kept, starts[len(rig.turns) :]) + 1                      # rows of y where the bodies start, and the end
    patterns = {"coil": np.concatenate([np.sqrt(coil_resistance) * y[:1], y[1 : ends[0]]])}
    currents = {}
    for name, start, stop in zip(rig.bodies, ends, ends[1:], strict=False):
        patterns[name] = y[start:stop]
        currents[name] = shares[kept[start - 1 : stop - 1]] @ y[start:stop]
    return Modes(1 / tau[kept_modes], y[0], currents, patterns, coil_resistance)


def scale_unknowns(rig: FilamentRig) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """(L of the scaled unknowns with each turn reflected, 1/|c_t|, net currents c of the scaled unknowns, where each conductor starts).

    Of a mirrored rig all energies and a body's net current count twice, a turn's own current once.
    """
    copies, sizes = (2 if rig.mirrored else 1), [conductor.size for conductor in rig.conductors]
    starts = np.cumsum([0, *sizes])
    root = np.sqrt(copies * np.concatenate([conductor.resistance for conductor in rig.conductors]))
    shares = np.concatenate([conductor.current for conductor in rig.conductors]) / root
    L = copies * inductance_matrix(rig.conductors, rig.mirrored) / np.outer(root, root)
    scale = np.array([_reflect(L, shares, *starts[t : t + 2]) for t in range(len(rig.turns))])
    shares[starts[len(rig.turns)] :] *= copies
    return L, scale, shares, starts


def _matters(drive: np.ndarray, tau: np.ndarray) -> np.ndarray:
    """Whether a mode matters to the admittance, sum of drive^2 / (rate + j omega), at rest or at once."""
    at_once = drive**2
    at_rest = at_once * tau
    return (at_once > NEGLIGIBLE * at_once.sum()) | (at_rest > NEGLIGIBLE * at_rest.sum())


def _reflect(L, shares, start, stop) -> float:
    """Turn rows and columns start to stop of L so that c falls on the first of them; returns 1 / |c|.

    The reflection is 1 - 2 v v^T with v along c - |c| e_1 (A. S. Householder, J. ACM 5 (1958) 339).
    """
    c = shares[start:stop]
    length = np.linalg.norm(c)
    v = c.copy()
    v[0] -= length
    v /= np.linalg.norm(v)
    L[start:stop] -= 2 * np.outer(v, v @ L[start:stop])
    L[:, start:stop] -= 2 * np.outer(L[:, start:stop] @ v, v)
    return float(1 / length)
