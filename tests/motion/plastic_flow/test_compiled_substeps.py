"""The compiled sub-steps against those in numpy; left out where no compiler is at hand."""
import importlib.util
import shlex
import shutil
import subprocess
import sysconfig
from dataclasses import fields

import numpy as np
import pytest

import geometries as geo
from fieldsolve.errors import MotionEnd, SolveError
from fieldsolve.motion.constitutive.temperature import temperature_from_enthalpy
from fieldsolve.motion.plastic_flow import compiled_substeps
from fieldsolve.motion.plastic_flow.explicit_step import advance_solid
from fieldsolve.motion.plastic_flow.quad_mesh import mesh_parts
from fieldsolve.motion.plastic_flow.solid import solid_at_rest
from tests.motion.plastic_flow.test_flow import COPPER, mechanical, rim_force, solid
from tests.motion.sample_metal import ZERILLI_COPPER
from tests.source_tree import ROOT

SOURCE = ROOT / "fieldsolve/motion/plastic_flow/substeps.c"
PARTS = {"disc": (geo.disc(radius=15e-3, thickness=2e-3), 400e6),
         "plated": (geo.clad_disc(radius=15e-3, layers=[(20e-6, 1), (1.96e-3, 2), (20e-6, 1)]), 400e6),
         "tube": (geo.tube(inner_radius=14e-3, wall=1e-3, length=20e-3), 50e6)}


@pytest.fixture(scope="module")
def kernel(tmp_path_factory):
    """The compiled module, made from the source as it is."""
    compiler = shlex.split(sysconfig.get_config_var("CC") or "cc")
    if not shutil.which(compiler[0]):
        pytest.skip("no compiler")
    built = tmp_path_factory.mktemp("built") / f"_substeps{sysconfig.get_config_var('EXT_SUFFIX')}"
    subprocess.run([*compiler, "-O2", "-shared", "-fPIC", "-Wall", "-Werror", f"-I{sysconfig.get_paths()['include']}", SOURCE,
                    "-o", built, "-lm"], check=True, timeout=60)
    spec = importlib.util.spec_from_file_location("_substeps", built)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def runs_of(kernel, monkeypatch, bodies, force, steps, length=0.5e-6, heating=0.0):
    """Final states in numpy and compiled, and the work and number of sub-steps of each."""
    found = []
    for module in (None, kernel):
        monkeypatch.setattr(compiled_substeps, "_substeps", module)
        state, work, count = solid_at_rest(bodies), 0.0, 0
        for k in range(steps):
            done = advance_solid(bodies, state, (force(k * length), force((k + 1) * length)), heating, length)
            state, work, count = done.state, work + done.work, count + done.substeps
        found.append((state, work, count))
    return found


@pytest.mark.parametrize("name", PARTS)
def test_both_forms_agree_to_rounding(kernel, monkeypatch, name):
    """A pressed body that yields, unloads and melts, its thin rows with masses of their own; rounding grows with the sub-steps."""
    part, peak = PARTS[name]
    bodies = solid(mesh_parts([part], 0.5), mechanical(), COPPER)
    melts = bodies.mesh.nodes[bodies.mesh.quads].mean(axis=1)[:, 0] > 14e-3
    heating = np.where(melts, 1e15, 1e12) * bodies.reference_geometry.volume
    (one, work, count), (other, same_work, same_count) = runs_of(kernel, monkeypatch, bodies, rim_force(bodies, peak, 10e-6)[0], 14,
                                                                 heating=heating)
    assert same_count == count and same_work == pytest.approx(work, rel=1e-10)
    assert one.plastic_strain.max() > 1e-2 and temperature_from_enthalpy(bodies.heat_contents, one.enthalpy).max() > 1356
    for entry in fields(one):
        values, others = getattr(one, entry.name), getattr(other, entry.name)
        assert others == pytest.approx(values, rel=1e-7, abs=1e-8 * np.abs(values).max()), entry.name


def test_given_state_stays_and_other_laws_keep_to_numpy(kernel, monkeypatch):
    bodies = solid(mesh_parts([PARTS["disc"][0]], 0.5), mechanical(), COPPER)
    state, force = solid_at_rest(bodies), rim_force(bodies, 4e8)[0]
    monkeypatch.setattr(compiled_substeps, "_substeps", kernel)
    advance_solid(bodies, state, (force(0.0), force(20e-6)), 1e3, 1e-6)
    assert not state.positions.imag.any() and (state.positions == bodies.mesh.nodes).all()
    assert not any(getattr(state, name).any() for name in ("velocities", "plane", "hoop", "viscous", "enthalpy", "plastic_work"))
    other = solid(mesh_parts([PARTS["disc"][0]], 0.5), mechanical(ZERILLI_COPPER), COPPER)
    assert compiled_substeps.compiled_substeps(bodies, (0.06, 1.2)) and compiled_substeps.compiled_substeps(other, (0.06, 1.2)) is None


def test_both_forms_end_alike(kernel, monkeypatch):
    """Cells that fold end the run with the same words."""
    bodies = solid(mesh_parts([PARTS["disc"][0]], 0.5), mechanical(), COPPER)
    reasons = []
    for module in (None, kernel):
        monkeypatch.setattr(compiled_substeps, "_substeps", module)
        with pytest.raises(MotionEnd) as caught:
            advance_solid(bodies, solid_at_rest(bodies), (rim_force(bodies, 1e13)[0](20e-6),) * 2, 0.0, 2e-6)
        reasons.append(str(caught.value))
    assert reasons[0] == reasons[1] and "the states before this time hold" in reasons[0]


def test_wrong_number_of_arrays_is_refused(kernel):
    with pytest.raises(ValueError, match="number of arrays"):
        kernel.advance(1, (np.zeros(3),), (0.0,) * 10, (1, 1, 1, 1, 0))


def test_return_that_does_not_converge(kernel, monkeypatch):
    bodies = solid(mesh_parts([PARTS["disc"][0]], 0.5), mechanical(), COPPER)
    monkeypatch.setattr(compiled_substeps, "_substeps", kernel)
    monkeypatch.setattr(compiled_substeps, "ITERATIONS", 0)
    with pytest.raises(SolveError, match="did not converge in 0 iterations"):
        advance_solid(bodies, solid_at_rest(bodies), (rim_force(bodies, 4e8)[0](20e-6),) * 2, 0.0, 1e-6)
