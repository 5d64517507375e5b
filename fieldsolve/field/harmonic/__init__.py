"""Eddy currents at one frequency or many, to a requested accuracy, as phasors exp(+j omega t):
`solve_harmonic`, the fields it returns, the iterative solver of the complex system, and what a
bridge reads at a coil."""
from fieldsolve.field.harmonic.field import HarmonicField, HarmonicSweep
from fieldsolve.field.harmonic.solution import HarmonicProblem, solve_at_frequency
from fieldsolve.field.harmonic.solve import solve_harmonic

__all__ = [
    "HarmonicField", "HarmonicProblem", "HarmonicSweep", "solve_at_frequency", "solve_harmonic",
]
