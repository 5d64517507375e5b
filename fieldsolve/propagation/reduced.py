"""The reduced model of a case's held section as the control of its full shots: any circuit on it in milliseconds."""
from __future__ import annotations


def reduced_control(case, keys, vector, base):
    """The reduced model's outputs as a function of inputs (n, d), None where there is none; and remarks."""
    return None, []
