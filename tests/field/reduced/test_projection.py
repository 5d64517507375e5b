"""Reduced fields against the whole field on the same mesh, and what makes them passive."""
import math
from functools import cache

import numpy as np
import pytest
from scipy.sparse.linalg import splu

import fieldsolve as fs
import geometries as geo
from fieldsolve.field.reduced.decay import decay_constants
from fieldsolve.field.reduced.projection import AT_ONCE, reduce_field
from fieldsolve.field.system.bordered_operator import conduction_product
from fieldsolve.field.system.eddy_current import EddySystem, eddy_system
from geometries.mesher import mesh_section

TOP = 2 * math.pi * 2e5         # 1/s


@cache
def system() -> EddySystem:
    inner = geo.solenoid(turns=3, bore_radius=16e-3, wire_diameter=3e-3, pitch=3.3e-3, material=fs.material("copper"), name="inner")
    outer = geo.winding(inner_radius=22e-3, outer_radius=26e-3, height=10e-3, turns=20, name="outer")
    disc = geo.disc(radius=15e-3, thickness=2e-3, at=1e-3, material=fs.material("aluminium 1100-O"))
    section = geo.CrossSection([inner, outer, disc])
    return eddy_system(section, mesh_section(section, scale=2.0))


@cache
def reduced(tolerance: float):
    return reduce_field(system(), ("inner", "outer"), TOP, float(decay_constants(system(), 1)[0]), tolerance)


@cache
def whole_field(omega: float) -> tuple[np.ndarray, np.ndarray]:
    """Fields (n, coils) of one ampere, by a direct solution with the turns' voltages as unknowns, and the flux linkages."""
    whole, size = system(), system().mesh.size
    from scipy.sparse import bmat, csc_array, diags_array
    C = csc_array(whole.turn_vectors)
    matrix = bmat([[whole.full_stiffness + 1j * omega * whole.full_conduction, 1j * omega * C],
                   [1j * omega * C.T, 1j * omega * diags_array(2 * math.pi * whole.turn_conductance)]], format="csc")
    loads = np.stack([whole.load_of(name) for name in ("inner", "outer")], axis=1)
    u = splu(matrix).solve(np.concatenate([loads, np.zeros((C.shape[1], 2))]).astype(complex))[:size]
    return u, 2 * math.pi * loads.T @ u


@pytest.mark.parametrize("tolerance", [1e-2, 1e-3, 1e-4])
def test_inductances_are_those_of_the_whole_field_within_the_square_of_the_bound(tolerance):
    field = reduced(tolerance)
    assert field.error_bound <= tolerance + AT_ONCE
    for omega in np.geomspace(1e2, TOP, 9):
        exact = whole_field(float(omega))[1]
        scale = np.sqrt(np.outer(np.diag(exact.real), np.diag(exact.real)))
        assert (np.abs(field.inductance(omega)[0] - exact) / scale).max() < 1.5 * tolerance**2 + 0.01 * AT_ONCE


def test_the_bound_covers_the_error_of_the_field_in_its_energy_norm():
    field, covered = reduced(1e-2), []
    for omega in np.geomspace(1e3, TOP, 7):
        u, p = whole_field(float(omega))[0], field.coupling / (1 + 1j * omega * field.time_constants[:, None])
        error = u - field.basis @ p
        energy = [float((e.conj() @ (system().full_stiffness @ e)).real) for e in error.T]
        covered.append(np.sqrt(energy / (np.abs(p) ** 2).sum(axis=0)).max())
    assert max(covered) <= 1e-2
    assert max(covered) > 1e-4                          # a bound of nothing would cover anything


def test_the_basis_diagonalizes_both_matrices():
    field = reduced(1e-3)
    V = field.basis
    assert np.abs(V.T @ (system().full_stiffness @ V) - np.eye(field.states)).max() < 1e-9
    M = V.T @ conduction_product(system(), V)
    assert np.abs(M - np.diag(field.time_constants)).max() < 1e-4 / TOP + 1e-9 * field.time_constants[0]


def test_no_state_outlasts_the_metal_and_none_grows():
    field, slowest = reduced(1e-4), decay_constants(system(), 1)[0]
    assert (field.time_constants >= 0).all()
    assert field.time_constants[0] <= slowest * (1 + 1e-9)
    assert field.time_constants[0] == pytest.approx(slowest, rel=1e-3)


def test_without_metal_one_state_a_coil_is_left():
    winding = geo.winding(inner_radius=10e-3, outer_radius=20e-3, height=10e-3, turns=100, name="winding")
    section = geo.CrossSection([winding])
    empty = eddy_system(section, mesh_section(section, scale=2.0))
    field = reduce_field(empty, ("winding",), TOP, 0.0, 1e-4)
    assert field.states == 1
    assert field.time_constants[0] == 0
