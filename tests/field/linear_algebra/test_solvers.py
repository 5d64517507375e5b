"""Linear solvers: chosen by name or brought along, the same figures by each, and clear errors."""
from __future__ import annotations

import sys
from dataclasses import dataclass
from functools import cache

import numpy as np
import pytest
from scipy.sparse import csc_array, diags_array
from scipy.sparse.linalg import splu

import fieldsolve as fs
import geometries as geo
from fieldsolve.errors import InputError, SolveError
from fieldsolve.field.linear_algebra.solvers import choose_solver, factorize

DISC = geo.disc(radius=12e-3, thickness=3e-3, material=fs.material("copper"))
COIL = geo.winding(inner_radius=16e-3, outer_radius=20e-3, height=20e-3, turns=8)
SECTION = geo.CrossSection([COIL, DISC])


@dataclass(frozen=True)
class OwnSolver:
    """The shortest solver that keeps the contract; `factor` spoils its answers."""

    name: str = "own solver"
    uses_order: bool = False
    factor: float = 1.0

    def factorize(self, lower, previous, order):
        return splu(csc_array(self.factor * (lower + lower.T - diags_array(lower.diagonal()))))


OTHERS = (OwnSolver(),)             # each must give the figures of SuperLU


@cache
def static_figures(solver) -> tuple[str, list[float]]:
    field = fs.solve_static(SECTION, currents={"coil": 1.0}, accuracy=1e-1, linear_solver=solver)
    return field.solver, [field.inductance("coil"), field.peak_field(), *np.ravel(field.flux_density([0.0, 0.01], [0.0, 0.0]))]


@cache
def harmonic_figures(solver) -> tuple[str, list[float]]:
    field = fs.solve_harmonic(SECTION, 5e3, currents={"coil": 1.0}, accuracy=1e-1, linear_solver=solver)
    return field.solver, [field.inductance("coil"), field.loss("disc"), field.resistance_change("coil"), field.radial_force("disc")]


def transient_figures(solver) -> tuple[str, list[float]]:
    run = fs.solve_transient(SECTION, times=[2e-6], currents={"coil": ([0.0, 1.0], [0.0, 1e6])}, accuracy=3e-2, linear_solver=solver)
    field = run.field_at(2e-6)
    return run.system.linear_solver.name, [field.flux_linkage("coil").value, field.net_current("disc").value]


FIGURES = [static_figures, harmonic_figures, pytest.param(transient_figures, marks=pytest.mark.slow)]


@pytest.mark.parametrize("solver", OTHERS, ids=lambda solver: solver.name)
@pytest.mark.parametrize("solve", FIGURES)
def test_each_solver_gives_the_same_figures_and_is_named(solve, solver):
    (name, expected), (other_name, other) = solve("superlu"), solve(solver)
    assert "SuperLU" in name and solver.name in other_name
    assert other == pytest.approx(expected, rel=1e-8)


@pytest.mark.parametrize("solve", FIGURES)
def test_cholmod_is_the_default_and_gives_the_same_figures(solve):
    pytest.importorskip("cvxopt")
    (name, found), (default_name, default), (_, expected) = solve("cholmod"), solve(None), solve("superlu")
    assert "CHOLMOD" in name and default_name == name and default == found
    assert found == pytest.approx(expected, rel=1e-8)


def test_superlu_is_the_default_without_cvxopt(monkeypatch):
    monkeypatch.setitem(sys.modules, "cvxopt", None)
    assert choose_solver().name == "SuperLU"
    with pytest.raises(InputError, match=r"cvxopt, which brings it, is not installed.*'superlu'"):
        choose_solver("cholmod")


@pytest.mark.parametrize("wrong", ["pardon", 3.0])
def test_what_is_no_solver_is_refused(wrong):
    with pytest.raises(InputError, match=f"linear_solver = {wrong!r}: .*"):
        fs.solve_static(SECTION, currents={"coil": 1.0}, linear_solver=wrong)


@pytest.mark.parametrize("solver", ["superlu", "cholmod"])
def test_a_singular_matrix_is_an_error(solver):
    if solver == "cholmod":
        pytest.importorskip("cvxopt")
    with pytest.raises(SolveError, match="not a positive number"):
        factorize(csc_array(np.array([[1.0, 0.0], [1.0, 1.0]])), solver=solver)


def test_a_poor_solution_is_an_error():
    with pytest.raises(SolveError, match="own solver left a residual of"):
        factorize(csc_array(np.diag([1.0, 2.0])), solver=OwnSolver(factor=2.0)).solve(np.ones(2))


def test_an_analysis_is_used_again():
    """Of a second matrix of the same pattern, its numbers are its own."""
    lower = csc_array(np.tril(np.array([[4.0, 1.0, 0.0], [1.0, 3.0, 1.0], [0.0, 1.0, 2.0]])))
    second = csc_array((2 * lower.data, lower.indices, lower.indptr), shape=lower.shape)
    load = np.array([1.0, 2.0, 3.0])
    expected = factorize(lower).solve(load)
    again = factorize(second, factorize(lower))
    assert again.solve(load) == pytest.approx(expected / 2, rel=1e-13)
    assert again.solve(np.stack([load, -load], axis=1)) == pytest.approx(np.stack([expected, -expected], axis=1) / 2, rel=1e-13)
