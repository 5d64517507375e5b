"""Measured orders of convergence of the prescribed fields, beside those that theory expects."""
from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from itertools import pairwise

from benchmarks.manufactured import problems
from benchmarks.manufactured.problems import Errors
from benchmarks.manufactured.rectangle import SIDE
from fieldsolve.ode import SDIRK2, SDIRK3, TR_BDF2

OFF_AXIS = 0.5 * SIDE           # inner radius in m of a rectangle that does not reach the axis
COLUMNS = ("prescribed field", "reaches the axis", "halved", "order of u expected", "measured", "of B expected", "measured",
           "of the heat expected", "measured")


@dataclass(frozen=True)
class Case:
    """A prescribed field that is solved again and again with halved cells or steps.

    title, halved  in words
    solve          errors from the inner radius in m and the number of cells or steps
    counts         of cells or steps, each twice the one before
    u, B, heat     orders expected
    """

    title: str
    halved: str
    solve: Callable[[float, int], Errors]
    counts: tuple[int, ...]
    u: float
    B: float
    heat: float | None = None

    def orders(self, inner_radius: float) -> list[dict[str, float]]:
        """Measured orders of each halving, by quantity."""
        errors = [vars(self.solve(inner_radius, count)) for count in self.counts]
        return [{name: math.log2(coarse[name] / fine[name]) for name in coarse if coarse[name] is not None}
                for coarse, fine in pairwise(errors)]


def cases() -> Iterator[Case]:
    """All of them.

    A method of order 3 keeps order 2 where the equations are stiff, for its stage order is 1 (E. Hairer and G. Wanner, Solving Ordinary
    Differential Equations II (1996), section IV.15).  Where cells and steps are halved together, the slower of both orders is expected.
    """
    for order in problems.ORDERS:
        yield Case(f"static, reluctivity varies, elements of order {order}", "cells",
                   lambda a, n, order=order: problems.static_errors(a, order, n), (4, 8, 16), order + 1, order)
    for method in (SDIRK2, TR_BDF2, SDIRK3):
        yield Case(f"held, two metals, {method.name}, as discretized in space", "steps",
                   lambda a, n, method=method: problems.time_errors(a, method, 8, n), (20, 40, 80), 2.0, 2.0)
    for method in (SDIRK2, TR_BDF2):
        for title, solve, heat in (("held, two metals", problems.held_errors, None),
                                   ("held, conductivity varies, one value a triangle", problems.varying_errors, None),
                                   ("held, heated by its currents, air around", problems.heated_errors, 2.0),
                                   ("moving metal, air around", problems.moving_errors, None)):
            yield Case(f"{title}, {method.name}", "cells and steps", lambda a, n, solve=solve, method=method: solve(a, method, n, n),
                       (8, 16, 32), 2.0, 2.0, heat)


def rows() -> list[tuple]:
    """A row for each field on the axis and off it, with the order of the last halving."""
    return [_row(case, inner_radius) for case in cases() for inner_radius in (0.0, OFF_AXIS)]


def _row(case: Case, inner_radius: float) -> tuple:
    last = case.orders(inner_radius)[-1]
    heat = ("", "") if case.heat is None else (case.heat, last["heat"])
    return case.title, "no" if inner_radius else "yes", case.halved, case.u, last["u"], case.B, last["B"], *heat
