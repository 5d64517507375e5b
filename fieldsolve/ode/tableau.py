"""Diagonally implicit Runge-Kutta methods as data: coefficients, orders and their source."""
from __future__ import annotations

import math
from dataclasses import dataclass

Row = tuple[float, ...]


@dataclass(frozen=True)
class Tableau:
    """Butcher tableau of a diagonally implicit method whose last stage is the new value.

    A method for `fieldsolve.ode.step.take_step` keeps these rules:

    1. A is lower triangular; every diagonal entry is the same `gamma`, but that of the first stage, which may be 0 (an explicit first
       stage, whose derivative is the last one of the step before).
    2. The last row of A is b and the last c is 1 (stiffly accurate), so that the new value fulfils the stage's equations.
    3. b and `b_embedded` each sum to 1 and differ; their difference gives the embedded error.
    4. The method is L-stable: eddy currents of a fine mesh decay at once, and must not ring.  This one is not checked here.

    Parameters
    ----------
    name : str
        What the result says was used.
    A : tuple of tuples of float
        Coefficients (stages, stages).
    b, c : tuple of float
        Weights and nodes (stages,).
    order : int
        Order of the method.
    b_embedded : tuple of float
        Weights (stages,) of the embedded formula.
    embedded_order : int
        Its order; the embedded error is of order min(order, embedded_order) + 1 in the step length.
    source : str
        Where the method was published.

    Raises
    ------
    ValueError
        For coefficients that break one of the rules 1 to 3.
    """

    name: str
    A: tuple[Row, ...]
    b: Row
    c: Row
    order: int
    b_embedded: Row
    embedded_order: int
    source: str

    def __post_init__(self):
        stages, rounding = len(self.b), 1e-12
        diagonal = [self.A[k][k] for k in range(stages)]
        rules = {
            "A must be lower triangular": all(self.A[i][j] == 0 for i in range(stages) for j in range(i + 1, stages)),
            "its diagonal must be one positive number, the first entry may be 0":
                diagonal[-1] > 0 and all(entry == diagonal[-1] for entry in diagonal[1:]) and diagonal[0] in (0.0, diagonal[-1]),
            "its last row must be b, the last node 1": self.A[-1] == self.b and self.c[-1] == 1,
            "each row must sum to its node": all(abs(sum(row) - node) < rounding for row, node in zip(self.A, self.c, strict=True)),
            "b and b_embedded must sum to 1": all(abs(sum(weights) - 1) < rounding for weights in (self.b, self.b_embedded)),
            "b and b_embedded must differ": self.b != self.b_embedded,
        }
        broken = [rule for rule, kept in rules.items() if not kept]
        if broken:
            raise ValueError(f"tableau {self.name!r}: {'; '.join(broken)}")

    @property
    def gamma(self) -> float:
        """Diagonal entry: a stage is implicit over gamma times the step."""
        return self.A[-1][-1]

    @property
    def first_stage_is_explicit(self) -> bool:
        """Whether the first stage is the derivative at the start of the step."""
        return self.A[0][0] == 0

    @property
    def error_order(self) -> int:
        """Order of the embedded error in the step length."""
        return min(self.order, self.embedded_order) + 1


def _sdirk2() -> Tableau:
    gamma = 1 - 1 / math.sqrt(2)
    b = (1 - gamma, gamma)
    return Tableau(name="SDIRK2", A=((gamma, 0.0), b), b=b, c=(gamma, 1.0), order=2, b_embedded=(1.0, 0.0), embedded_order=1,
                   source="R. Alexander, SIAM J. Numer. Anal. 14 (1977) 1006; embedded: the first-order formula of its first stage")


def _tr_bdf2() -> Tableau:
    gamma = 2 - math.sqrt(2)
    d, w = 0.5 * gamma, math.sqrt(2) / 4
    b = (w, w, d)
    return Tableau(name="TR-BDF2", A=((0.0, 0.0, 0.0), (d, d, 0.0), b), b=b, c=(0.0, gamma, 1.0), order=2,
                   b_embedded=((1 - w) / 3, (3 * w + 1) / 3, d / 3), embedded_order=3,
                   source="M. E. Hosea and L. F. Shampine, Appl. Numer. Math. 20 (1996) 21")


def _sdirk3() -> Tableau:
    gamma = 0.43586652150845899942      # root in (1/6, 1/2) of x^3 - 3 x^2 + 3 x / 2 - 1/6
    middle = 0.5 * (1 + gamma)
    b1 = -0.25 * (6 * gamma**2 - 16 * gamma + 1)
    b2 = 1 - gamma - b1
    first = (middle - 0.5) / (middle - gamma)
    b = (b1, b2, gamma)
    return Tableau(name="SDIRK3", A=((gamma, 0.0, 0.0), (middle - gamma, gamma, 0.0), b), b=b, c=(gamma, middle, 1.0), order=3,
                   b_embedded=(first, 1 - first, 0.0), embedded_order=2,
                   source="R. Alexander, SIAM J. Numer. Anal. 14 (1977) 1006; embedded: the second-order formula of its first two stages")


SDIRK2, TR_BDF2, SDIRK3 = _sdirk2(), _tr_bdf2(), _sdirk3()
