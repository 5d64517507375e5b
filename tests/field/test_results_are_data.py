"""Fields are data: a pickle or a copy gives the same digits, and no reading solves anything."""
from __future__ import annotations

import copy
import json
import math
import pickle
import re

import numpy as np
import pytest

import fieldsolve as fs
import geometries as geo
from fieldsolve.errors import InputError, SolveError
from fieldsolve.field.harmonic.solve import solve_harmonic
from fieldsolve.field.linear_algebra.cholesky import Cholmod
from fieldsolve.field.linear_algebra.superlu import SuperLU
from geometries.parts import Part

COPPER = fs.material("copper")
POINTS = [0.0, 4e-3, 12e-3, 60e-3], [1e-3, 0.0, -2e-3, 30e-3]        # in metal, air, and beyond the mesh


def winding(**changes) -> Part:
    return geo.winding(**{"inner_radius": 16e-3, "outer_radius": 20e-3, "height": 20e-3, "turns": 8, "fill": 0.7,
                          "material": COPPER} | changes)


def disc(**changes) -> Part:
    return geo.disc(**{"radius": 12e-3, "thickness": 3e-3, "material": COPPER} | changes)


@pytest.fixture(scope="module")
def static_field():
    iron = fs.Material(conductivity=0.0, relative_permeability=100.0)
    parts = [winding(name="a"), geo.loop(radius=30e-3, at=20e-3, name="b"), disc(material=iron)]
    return fs.solve_static(geo.CrossSection(parts), currents={"a": 100.0, "b": -5.0}, accuracy=1e-2)


@pytest.fixture(scope="module")
def saturated_field():
    steel = fs.material("steel 1010")
    return fs.solve_static(geo.CrossSection([winding(), disc(material=steel)]), currents={"coil": 3e3}, accuracy=3e-2)


@pytest.fixture(scope="module")
def sweep():
    """One frequency of the four does not steer the refinement."""
    section = geo.CrossSection([winding(), geo.ring(radius=24e-3, wire_diameter=2e-3, at=14e-3, material=COPPER), disc()])
    return solve_harmonic(section, [1e3, 2e3, 5e3, 10e3], currents={"coil": 1.0}, accuracy=3e-2)


@pytest.fixture
def no_solver(monkeypatch):
    """From here on nothing can be factored."""
    def fail(*arguments):
        raise AssertionError("a reading solved something")
    for solver in (Cholmod, SuperLU):
        monkeypatch.setattr(solver, "factorize", fail)


def estimate_values(estimate) -> tuple:
    return estimate.value, estimate.error, estimate.unit, getattr(estimate, "r", None), getattr(estimate, "z", None)


def static_readings(field) -> list:
    coils = [part.name for part in field.section.coils if part.zones]
    found = [array.tolist() for array in (*field.flux_density(*POINTS), field.flux_density_error(*POINTS), *field.field_strength(*POINTS),
                                          field.vector_potential(*POINTS), field.flux(*POINTS), field.magnetic_pressure(*POINTS))]
    estimates = [field.dipole_moment(), field.mean_flux_density("disc"), field.axial_force("disc"), field.axial_force(coils[0])]
    estimates += [read(name) for read in (field.inductance, field.flux_linkage) for name in coils]
    estimates += [entry for row in field.inductance_matrix()[1] for entry in row]
    return [*found, *map(estimate_values, estimates), field.errors, field.convergence, field.solver, field.unknowns]


def harmonic_readings(field) -> list:
    found = [array.tolist() for array in (*field.flux_density(*POINTS), field.flux_density_error(*POINTS), field.vector_potential(*POINTS),
                                          field.flux(*POINTS), field.magnetic_pressure(*POINTS), field.current_density(*POINTS))]
    estimates = [field.peak_field("bore of coil"), field.dipole_moment(), field.mutual_inductance("ring", "coil")]
    estimates += [read("coil") for read in (field.resistance, field.inductance, field.resistance_change, field.inductance_change,
                                            field.voltage)]
    estimates += [read(name) for read in (field.net_current, field.loss, field.radial_force, field.axial_force)
                  for name in ("coil", "ring", "disc")]
    estimates += [field.axial_force("disc", route="stress"), field.mean_flux_density("disc")]
    return [*found, *map(estimate_values, estimates), field.errors, field.convergence, field.solver, field.currents]


COPIES = [pytest.param(lambda field: pickle.loads(pickle.dumps(field)), id="pickle"), pytest.param(copy.deepcopy, id="copy")]


@pytest.mark.parametrize("duplicate", COPIES)
@pytest.mark.parametrize("name", ["static_field", "saturated_field"])
def test_a_static_field_reads_the_same_from_a_copy_and_solves_nothing(request, name, duplicate):
    field = request.getfixturevalue(name)
    request.getfixturevalue("no_solver")
    assert static_readings(duplicate(field)) == static_readings(field)


@pytest.mark.parametrize("duplicate", COPIES)
def test_a_sweep_reads_the_same_from_a_copy_and_solves_nothing(sweep, no_solver, duplicate):
    same = duplicate(sweep)
    assert list(same.frequencies) == [1e3, 2e3, 5e3, 10e3]
    for field, other in zip(sweep, same, strict=True):
        assert harmonic_readings(other) == harmonic_readings(field)


def test_arrays_that_were_shared_stay_shared(sweep):
    one, other = pickle.loads(pickle.dumps((sweep[0], sweep[3])))
    assert one.mesh is other.mesh and one.mesh.triangles is other.fine.system.mesh.triangles
    assert one.fine.isolated_fields["coil"] is other.fine.isolated_fields["coil"]


def test_a_pickle_holds_no_caches_and_no_factor(static_field, no_solver):
    static_readings(static_field)
    same = pickle.loads(pickle.dumps(static_field))
    for thing, caches in ((same.mesh, {"corners", "area"}), (same.fine, {"solution"}), (same.section, {"extent"})):
        assert not caches & vars(thing).keys()
    assert same.fine.factor.name == static_field.solver
    with pytest.raises(SolveError, match="not part of a pickle or a copy"):
        same.fine.factor.solve(np.ones(same.unknowns))


def test_a_coil_alone_is_solved_for_by_a_verb():
    """A change of solid turns is no goal, so that the coil alone is not solved for with the field."""
    coil = geo.solenoid(turns=2, bore_radius=16e-3, wire_diameter=3e-3, pitch=3.3e-3, material=COPPER)
    section = geo.CrossSection([coil, disc()])
    field = fs.solve_harmonic(section, 2e3, {"coil": 1.0}, accuracy=3e-2)
    with pytest.raises(InputError, match=r"coil was not solved for alone.*field.with_coil_alone\('coil'\)"):
        field.inductance_change("coil")
    compared = pickle.loads(pickle.dumps(field.with_coil_alone("coil")))
    empty = fs.solve_harmonic(geo.CrossSection([coil]), 2e3, {"coil": 1.0}, accuracy=3e-2)
    assert compared.inductance_change("coil") == pytest.approx(field.inductance("coil") - empty.inductance("coil"), rel=0.05)
    assert compared.with_coil_alone("coil").fine is compared.fine


def test_a_coil_is_solved_for_alone_where_its_change_is_a_goal(sweep):
    assert all(field.fine.isolated_fields.keys() == {"coil"} for field in sweep) and sweep[1].resistance_change("coil") > 0


TEXTS = [(lambda static, harmonic: static, r"StaticField\(\d+ unknowns, \d meshes, accuracy 0.01 reached, (CHOLMOD|SuperLU)\)"),
         (lambda static, harmonic: harmonic, r"HarmonicSweep\(4 frequencies from 1000 to 10000 Hz, \d+ unknowns\)"),
         (lambda static, harmonic: harmonic[0], r"HarmonicField\(1000 Hz, .* GMRES with (CHOLMOD|SuperLU)\)"),
         (lambda static, harmonic: static.solved, r"MeshPair\(\d+ and \d+ unknowns, \d+ goals, .*\)"),
         (lambda static, harmonic: static.solution, r"NodalField\(\d+ float64 values, .*\)"),
         (lambda static, harmonic: static.mesh, r"Mesh\(\d+ nodes, \d+ triangles, 2 zones of metal, open radius .* m\)"),
         (lambda static, harmonic: static.section, r"CrossSection\(3 parts: a: winding, b: loop, disc: disc; r from 0 to .* m\)"),
         (lambda static, harmonic: static.section.part("a"), r"Part\(a: stranded winding of 8 turns, r from 0.016 to 0.02 m, .*\)"),
         (lambda static, harmonic: harmonic[0].fine.system, r"EddySystem\(\d+ unknowns, .*, 1 solid turns\)"),
         (lambda static, harmonic: harmonic[0].fine, r"HarmonicSolution\(1000 Hz, \d+ unknowns\)"),
         (lambda static, harmonic: static.fine, r"StaticSolution\(\d+ unknowns, 2 coils, .*\)")]


@pytest.mark.parametrize(("choose", "pattern"), TEXTS)
def test_the_text_of_a_result_is_one_short_line(static_field, sweep, choose, pattern):
    text = repr(choose(static_field, sweep))
    assert re.fullmatch(pattern, text) and len(text) < 200


# ---- estimates -----------------------------------------------------------------------------------------------------------

def test_an_estimate_is_a_number_with_data():
    estimate = fs.Estimate(2.5, -0.1, "T", r=0.01, z=0.0, time=1e-6)
    for same in (pickle.loads(pickle.dumps(estimate)), copy.deepcopy(estimate), copy.copy(estimate)):
        assert type(same) is fs.Estimate and same == 2.5
        assert (same.error, same.unit, same.r, same.z, same.time) == (0.1, "T", 0.01, 0.0, 1e-6)
    assert json.dumps(estimate) == "2.5" and repr(estimate) == "2.5 +- 0.1 T at r = 0.01 m, z = 0 m at 1e-06 s"


def test_an_estimate_without_a_known_bound():
    from fieldsolve.report.text.facts import estimate_text, facts_with_error
    for estimate, text in ((fs.Estimate(2.5, math.inf, "T"), "2.5 T"), (fs.ComplexEstimate(3 + 4j, math.inf, "T"), "3+4j T")):
        assert repr(estimate) == text
        facts = facts_with_error("field", estimate, "T")
        assert facts["field_error_T"] is None and json.loads(json.dumps(facts, allow_nan=False)) == facts
        assert "error" not in estimate_text(facts, "field", "T")
