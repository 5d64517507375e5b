"""Fields at frequencies between solved ones against direct solutions on the same mesh."""
import math
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from scipy.sparse import block_array, csc_array, diags_array
from scipy.sparse.linalg import splu

import fieldsolve as fs
import geometries as geo
from fieldsolve.field.harmonic import projection
from fieldsolve.field.harmonic.effective_reluctivity import solve_self_consistent
from fieldsolve.field.harmonic.gmres import harmonic_operator
from fieldsolve.field.harmonic.neighbouring_frequencies import solve_between
from fieldsolve.field.harmonic.problem import HarmonicProblem
from fieldsolve.field.harmonic.projection import ProjectionSpace
from fieldsolve.field.harmonic.solution import HarmonicSolution, drive_loads, solve_at_frequency
from fieldsolve.field.system.eddy_current import EddySystem, eddy_system
from geometries.errors import SolveError
from geometries.mesher import mesh_section

BETWEEN = (3e2, 2e3, 3e4)       # hertz


@cache
def problem() -> HarmonicProblem:
    """A driven coil of solid turns, a driven winding and a disc in a uniform field."""
    inner = geo.solenoid(turns=3, bore_radius=16e-3, wire_diameter=3e-3, pitch=3.3e-3, material=fs.material("copper"), name="inner")
    outer = geo.winding(inner_radius=22e-3, outer_radius=26e-3, height=10e-3, turns=20, name="outer")
    disc = geo.disc(radius=15e-3, thickness=2e-3, at=1e-3, material=fs.material("aluminium 1100-O"))
    return HarmonicProblem(geo.CrossSection([inner, outer, disc]), {"inner": 1.0, "outer": 2.0j}, {}, applied_field=1e-3)


@cache
def system() -> EddySystem:
    return eddy_system(problem().section, mesh_section(problem().section, scale=2.0))


@cache
def solved(frequency: float) -> HarmonicSolution:
    return solve_at_frequency(problem(), system(), 2 * math.pi * frequency)


@cache
def direct_fields(frequency: float) -> np.ndarray:
    """Fields (n, coils + 1) of all loads by a complex factor, the turns' voltages among its unknowns."""
    omega, size, C = 2 * math.pi * frequency, system().mesh.size, csc_array(system().turn_vectors)
    matrix = block_array([[system().full_stiffness + 1j * omega * system().full_conduction, 1j * omega * C],
                          [1j * omega * C.T, 1j * omega * diags_array(2 * math.pi * system().turn_conductance)]], format="csc")
    loads = drive_loads(problem(), harmonic_operator(system(), omega))
    return splu(matrix).solve(np.concatenate([loads, np.zeros((C.shape[1], loads.shape[1]))]))[:size]


def relative_error(found: np.ndarray, exact: np.ndarray) -> float:
    """In the energy norm."""
    def norm(u):
        return math.sqrt((u.conj() @ (system().full_stiffness @ u)).real)
    return norm(found - exact) / norm(exact)


def errors_of(one: HarmonicSolution, frequency: float) -> list[float]:
    fields = (*one.unit_fields.values(), one.background_field)
    return [relative_error(found, exact) for found, exact in zip(fields, direct_fields(frequency).T, strict=True)]


@pytest.mark.parametrize("tolerance", [1e-3, 1e-6, 1e-9])
@pytest.mark.parametrize("known", [(1e2, 1e4), (1e4,), (3e5,)])
def test_the_error_is_within_the_tolerance_however_far_away_the_solved_frequencies_are(known, tolerance):
    found = solve_between(system(), {f: solved(f) for f in known}, BETWEEN, tolerance)
    assert found.keys() == set(BETWEEN)
    errors = [error for frequency in BETWEEN for error in errors_of(found[frequency], frequency)]
    assert 1e-5 * tolerance < max(errors) <= tolerance


def test_a_frequency_far_from_all_factors_gets_its_own():
    known = {f: solved(f) for f in (1e2, 1e4)}
    found = solve_between(system(), known, [1.1e3, 4e3], 1e-6)
    assert found[1.1e3].operator.real.rate == found[1.1e3].omega
    assert found[4e3].operator.real is known[1e4].operator.real


def test_what_is_read_of_the_field_is_that_of_a_solution_at_the_frequency():
    found = solve_between(system(), {f: solved(f) for f in (1e2, 1e5)}, BETWEEN, 1e-8)
    for frequency in BETWEEN:
        between, alone = found[frequency], solved(frequency)
        assert between.omega == alone.omega
        for quantity in (lambda s: s.impedance("inner"), lambda s: s.mutual_inductance("inner", "outer"), lambda s: s.loss("disc"),
                         lambda s: s.loss("inner"), lambda s: s.net_current("disc"), lambda s: s.dipole_moment(),
                         lambda s: complex(*s.force("disc"))):
            assert quantity(between) == pytest.approx(quantity(alone), rel=1e-6)


def test_frequencies_that_are_solved_cost_nothing():
    assert solve_between(system(), {1e3: solved(1e3)}, [1e3], 1e-6) == {}


def test_later_frequencies_gain_by_the_fields_that_earlier_ones_added():
    one, omega = solved(1e4), 2 * math.pi * 2e3
    fields = np.stack([part for u in one.unit_fields.values() for part in (u.real, u.imag)], axis=1)
    space = ProjectionSpace.spanned_by(system(), fields)
    loads = drive_loads(problem(), replace(one.operator, omega=omega))
    _, larger = space.solve(loads, omega, one.operator.real, 1e-6)
    _, same = larger.solve(loads, omega, one.operator.real, 1e-6)
    assert len(same.basis) == len(larger.basis) > len(space.basis)
    gram = larger.basis @ (system().full_stiffness @ larger.basis.T)
    assert larger.stiffness == pytest.approx(gram, abs=1e-12)
    assert np.linalg.cond(gram) < 1.01


def test_a_field_that_is_not_found_is_an_error(monkeypatch):
    monkeypatch.setattr(projection, "MAX_FIELDS", 4)
    with pytest.raises(SolveError, match="the field at 300 Hz was not found from those at other frequencies with 12 fields"):
        solve_between(system(), {3e5: solved(3e5)}, [3e2], 1e-9)


def test_metal_with_a_curve_is_solved_for_at_each_frequency():
    """Its effective reluctivity is another one at each."""
    steel = fs.Material(name="steel", conductivity=5e6, bh_curve=fs.Frohlich(saturation=1.8, initial_permeability=500.0))
    tube = geo.tube(inner_radius=6e-3, wall=3e-3, length=12e-3, material=steel)
    section = geo.CrossSection([geo.winding(inner_radius=12e-3, outer_radius=16e-3, height=12e-3, turns=50), tube])
    task = HarmonicProblem(section, {"coil": 20.0}, {})
    eddy = eddy_system(section, mesh_section(section, scale=2.0))
    known = {f: solve_self_consistent(task, eddy, 2 * math.pi * f) for f in (50.0, 5e3)}
    found = solve_between(eddy, known, [500.0], 1e-6)[500.0]
    assert found.loss("tube") == solve_self_consistent(task, eddy, 2 * math.pi * 500.0).loss("tube")


def test_the_iteration_ends_with_a_factor_at_another_rate_too():
    operator = replace(solved(1e4).operator, omega=2 * math.pi * 3e4)
    load = drive_loads(problem(), operator)[:, 0]
    assert relative_error(operator.solve(load), direct_fields(3e4)[:, 0]) < 1e-9
