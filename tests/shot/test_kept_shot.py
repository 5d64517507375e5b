"""A shot is data: pickled, copied and kept in a file it reads the same to the last digit, and nothing is solved."""
import copy
import json
import math
import pickle
import subprocess
import sys
import zipfile
from dataclasses import fields, is_dataclass, replace
from pathlib import Path

import numpy as np
import pytest

import fieldsolve as fs
import geometries as geo
from fieldsolve import materials
from fieldsolve.circuit.prescribed_currents import PrescribedCurrentNetwork
from fieldsolve.errors import InputError
from fieldsolve.shot import load
from fieldsolve.shot.kept import container
from fieldsolve.shot.kept.encoding import Encoder, decode
from fieldsolve.shot.problem import CaseText
from geometries.mesh import Mesh

ROOT = Path(__file__).resolve().parents[2]
COPPER, ALUMINIUM = fs.material("copper"), fs.material("aluminium 1100-O")
KNOWN: dict[int, dict] = {}          # by the id of the shot
READ = """
import json, pickle, sys
import fieldsolve as fs
from tests.shot.test_kept_shot import figures
shot = fs.load_shot(sys.argv[1]) if sys.argv[1].endswith(".npz") else pickle.load(open(sys.argv[1], "rb"))
print(json.dumps(figures(shot)))
"""


def rig():
    coil = geo.solenoid(turns=3, bore_radius=15.6e-3, wire_diameter=3.0e-3, pitch=3.3e-3, material=COPPER)
    return geo.CrossSection([coil, geo.disc(radius=15e-3, thickness=2e-3, material=ALUMINIUM)])


def rising(time):
    return 2e9 * time


def aside(time, r, z):
    return r, z + 5.0 * time


def figures(shot):
    """Digits of everything that is read off a shot."""
    middle = float(shot.times[len(shot.times) // 2])
    field, metal = shot.field_at(middle), shot.metal_at(middle)
    points = np.array([0.0, 5e-3, 14.9e-3, 17e-3]), np.zeros(4)
    return {
        "text": [shot.summary(), repr(shot), *map(str, shot.events)], "times": shot.times.tolist(),
        "series": {f"{quantity} {place}": values.tolist() for (quantity, place), values in shot.history.values.items()},
        "peaks": {f"{quantity} {place}": [peak.value, peak.time, repr(peak.error)] for quantity, place in shot.history.values
                  for peak in [shot.peak(quantity, place)]},
        "ratios": [shot.radius_ratio("disc"), shot.thickness_ratio("disc"), shot.impulse("disc"), shot.action("coil")],
        "energies": {name: value.value for name, value in shot.energy.final_energies().items()}, "residual": shot.energy.residual.value,
        "field": [np.asarray(values).tolist() for values in (*field.flux_density(*points), field.current_density(*points))],
        "quantities": [field.peak_field("bore"), field.energy(), *field.force("disc"), field.net_current("disc"), field.dipole_moment()],
        "metal": [metal.temperature.tolist(), metal.plastic_strain.tolist(), metal.strain_rate.tolist(), metal.plastic_heat_share.tolist()],
        "profile": shot.profile("disc", 0.7 * middle).thickness.tolist(),
    }


def known_figures(shot):
    """Those of a shot that stays as long as this module, read off it once."""
    if id(shot) not in KNOWN:
        KNOWN[id(shot)] = figures(shot)
    return KNOWN[id(shot)]


@pytest.fixture(scope="module")
def held():
    return fs.solve_shot(rig(), fs.Bank(120e-6, 4e3, 6e-3, 350e-9, 80.0), end_time=4e-6, accuracy=3e-2, motion=False, error_bounds=False)


@pytest.fixture(scope="module")
def moving():
    return fs.solve_shot(rig(), fs.Bank(120e-6, 4e3, 6e-3, 350e-9, 80.0), end_time=4e-6, accuracy=3e-2)


@pytest.fixture(params=["held", "moving"])
def shot(request):
    return request.getfixturevalue(request.param)


@pytest.fixture(scope="module")
def refined(held):
    return held.refined()


@pytest.fixture(scope="module")
def prescribed():
    """A shot whose waveform and path are functions that can be imported."""
    return fs.solve_shot(rig(), fs.PrescribedCurrents({"coil": rising}), end_time=1e-6, accuracy=8e-2, heating=False,
                         motion={"disc": fs.PrescribedMotion(aside)}, error_bounds=False)


def with_lambdas(shot, current=rising, path=aside):
    """The same shot with other functions in its problem and circuit."""
    drive = fs.PrescribedCurrents({"coil": current})
    problem = replace(shot.problem, bank=drive, motion={"disc": fs.PrescribedMotion(path)})
    return replace(shot, problem=problem, network=replace(shot.network, drive=drive))


@pytest.fixture
def no_solver(monkeypatch):
    def solve(*arguments, **keywords):
        pytest.fail("something was solved")
    for target in ("fieldsolve.shot.solve.Discharge", "fieldsolve.shot.setup.shot_mesh",
                   "fieldsolve.field.system.bordered_operator.factorize"):
        monkeypatch.setattr(target, solve)


# ---- pickle and copy ---------------------------------------------------------------------------------------------------

@pytest.mark.parametrize("again", [lambda shot: pickle.loads(pickle.dumps(shot)), copy.deepcopy, copy.copy], ids=["pickle", "deep", "copy"])
def test_a_copy_reads_the_same_and_solves_nothing(shot, again, no_solver):
    twin = again(shot)
    assert figures(twin) == known_figures(shot)
    assert twin.held == shot.held and len({id(each.mesh.triangles) for each in twin.instants}) == \
        len({id(each.mesh.triangles) for each in shot.instants})


def test_what_a_shot_caches_is_not_pickled(held):
    before = len(pickle.dumps(held))
    held.field_at(1e-6)
    assert "_first_system" in vars(held) and abs(len(pickle.dumps(held)) - before) < 1e5
    assert "_first_system" not in vars(pickle.loads(pickle.dumps(held)))


@pytest.mark.parametrize("kind", ["pickle", "npz"])
def test_another_process_reads_the_same_digits(moving, tmp_path, kind):
    path = tmp_path / f"shot.{kind}"
    if kind == "npz":
        moving.save(path)
    else:
        path.write_bytes(pickle.dumps(moving))
    found = subprocess.run([sys.executable, "-c", READ, str(path)], cwd=ROOT, capture_output=True, text=True, check=True).stdout
    assert json.loads(found) == json.loads(json.dumps(known_figures(moving)))


def test_fields_at_an_instant_and_their_parts_pickle(shot, no_solver):
    field = shot.field_at(2e-6)
    twin = pickle.loads(pickle.dumps(field))
    assert twin.peak_field("bore") == field.peak_field("bore") and twin.energy() == field.energy()
    assert pickle.loads(pickle.dumps(shot.metal_at(2e-6))).temperature.tolist() == shot.metal_at(2e-6).temperature.tolist()


@pytest.mark.slow
def test_a_function_that_can_be_imported_is_pickled_and_another_is_named(prescribed):
    twin = pickle.loads(pickle.dumps(prescribed))
    assert twin.problem.bank.currents["coil"] is rising and twin.summary() == prescribed.summary()
    local = with_lambdas(prescribed, current=lambda time: 2e9 * time)
    with pytest.raises(InputError, match=r"current of coil is the function .*<lambda>, which cannot be pickled .* top level of a module"):
        pickle.dumps(local)
    with pytest.raises(InputError, match=r"motion of disc is the function .*<lambda>"):
        pickle.dumps(with_lambdas(prescribed, path=lambda time, r, z: (r, z)))
    assert copy.deepcopy(local).summary() == prescribed.summary()


def test_a_driven_field_is_data():
    strip = geo.AxialStrip([geo.cylinder(radius=10e-3, length=5e-3, material=COPPER)])
    run = fs.solve_transient(strip, times=[1e-4, 5e-4], face_field=1e5, accuracy=3e-2)
    twin = pickle.loads(pickle.dumps(run))
    one, other = (each.field_at(5e-4) for each in (run, twin))
    assert one.flux_density(5e-3, 2.5e-3)[1] == other.flux_density(5e-3, 2.5e-3)[1] and math.isinf(one.energy().error)
    refined = copy.deepcopy(run).refined()
    assert refined.refined() is refined and refined.reference.problem.accuracy == 3e-2 / 4 and run.reference is None
    energy = refined.field_at(5e-4).energy()
    assert energy == one.energy() and 0 < energy.error < 0.05 * energy
    assert pickle.loads(pickle.dumps(refined)).field_at(5e-4).energy().error == energy.error


# ---- errors --------------------------------------------------------------------------------------------------------------

def test_without_another_run_no_error_is_known_and_the_verb_is_named(held):
    field = held.field_at(2e-6)
    estimates = [held.peak("current", "coil"), held.impulse("disc"), held.energy.residual, *held.energy.final_energies().values(),
                 field.energy(), field.peak_field("bore")]
    assert all(type(estimate.error) is float and math.isinf(estimate.error) for estimate in estimates)
    for call in (lambda: held.series_error("current", "coil"), lambda: field.flux_density_error(0.0, 0.0)):
        with pytest.raises(InputError, match=r"refined\(\)"):
            call()


def test_errors_are_kept_and_a_second_refinement_is_none(held, refined, tmp_path, no_solver):
    assert refined.refined() is refined and held.comparisons == ()
    (comparison,) = refined.comparisons
    assert comparison.finer and comparison.run.accuracy == held.accuracy / 4 and comparison.run.unknowns > held.unknowns
    refined.save(tmp_path / "refined.shot.npz")
    for twin in (fs.load_shot(tmp_path / "refined.shot.npz"), pickle.loads(pickle.dumps(refined))):
        assert figures(twin) == figures(refined) and 0 < twin.peak("current", "coil").error < 0.05 * twin.peak("current", "coil")
        assert twin.series_error("current", "coil").tolist() == refined.series_error("current", "coil").tolist()
        assert twin.field_at(2e-6).energy().error == refined.field_at(2e-6).energy().error > 0


def test_a_refined_run_that_is_interrupted_bounds_nothing(held):
    def stop(time):
        raise KeyboardInterrupt
    with pytest.raises(KeyboardInterrupt, match="no error bounds"):
        held.refined(stop)


def test_a_loaded_shot_can_be_refined(held, refined, tmp_path):
    held.save(tmp_path / "a.shot.npz")
    seen = []
    assert fs.load_shot(tmp_path / "a.shot.npz").refined(seen.append).peak("current", "coil").error == refined.peak("current", "coil").error
    assert seen[-1] == pytest.approx(held.times[-1])


# ---- kept files ----------------------------------------------------------------------------------------------------------

def test_a_kept_shot_reads_the_same_and_solves_nothing(shot, tmp_path, no_solver):
    shot.save(tmp_path / "a.shot.npz")
    twin = fs.load_shot(tmp_path / "a.shot.npz")
    assert figures(twin) == known_figures(shot) and twin.held == shot.held
    assert len({id(each.mesh.triangles) for each in twin.instants}) == len({id(each.mesh.triangles) for each in shot.instants})
    assert all((one.mesh.nodes == other.mesh.nodes).all() for one, other in zip(twin.instants, shot.instants, strict=True))
    assert [path.name for path in tmp_path.iterdir()] == ["a.shot.npz"]


def test_the_file_opens_without_this_package(held, tmp_path):
    path = tmp_path / "a.shot.npz"
    replace(held, case=CaseText("rig.toml", "[coil]\n")).save(path)
    with zipfile.ZipFile(path) as file:
        header = json.loads(file.read("header.json"))
        content = json.loads(file.read("content.json"))
    assert header["format"] == "fieldsolve shot" and header["version"] == 1 and len(header["sha256"]) == 64
    assert header["software"]["fieldsolve"] == fs.__version__ and header["software"]["numpy"] == np.__version__
    assert header["case"] == {"name": "rig.toml", "text": "[coil]\n"} == {**vars(fs.load_shot(path).case)}
    (history,) = [each for each in content["objects"] if each["type"] == "History"]
    with np.load(path, allow_pickle=False) as arrays:
        assert arrays[f"arrays/{history['fields']['times']['array']}"].tolist() == held.times.tolist()


def test_functions_of_a_persons_own_are_not_kept_and_said(prescribed, tmp_path):
    with pytest.warns(UserWarning, match=r"not hold shot.problem.bank.currents of coil, the function .*rising; .*positions_at, .*aside"):
        prescribed.save(tmp_path / "a.shot.npz")
    loaded = fs.load_shot(tmp_path / "a.shot.npz")
    assert loaded.summary() == prescribed.summary() and loaded.coils == ("coil",)
    assert float(loaded.field_at(1e-6).energy()) == float(prescribed.field_at(1e-6).energy())
    with pytest.raises(InputError, match=r"the function .*(aside|rising), is not in the kept file, which holds no code"):
        loaded.refined()


def rewrite(path, name, change):
    """The same zip with one member changed."""
    with zipfile.ZipFile(path) as file:
        members = {member: file.read(member) for member in file.namelist()}
    members[name] = change(members[name])
    with zipfile.ZipFile(path, "w") as file:
        for member, data in members.items():
            file.writestr(member, data)


def with_entry(**entries):
    return lambda data: json.dumps(json.loads(data) | entries).encode()


def flip(path, position):
    data = bytearray(path.read_bytes())
    data[position] ^= 0xFF
    path.write_bytes(bytes(data))


@pytest.mark.parametrize(("damage", "words"), [
    (lambda path: path.unlink(), "no such file"),
    (lambda path: path.write_bytes(path.read_bytes()[:-3000]), "cut short"),
    (lambda path: path.write_text("time,current\n0,0\n"), "of another kind"),
    (lambda path: np.savez(path, time=np.zeros(3)), "no kept shot"),
    (lambda path: rewrite(path, "header.json", with_entry(format="other")), "no kept shot"),
    (lambda path: rewrite(path, "header.json", with_entry(version=2, software={"fieldsolve": "9.9"})), "fieldsolve 9.9 in format 2"),
    (lambda path: rewrite(path, "header.json", with_entry(platform="elsewhere")), "content has changed"),
    (lambda path: rewrite(path, "content.json", lambda data: data.replace(b"Shot", b"Shut", 1)), "content has changed"),
    (lambda path: rewrite(path, "arrays/0.npy", lambda data: data[:-1] + bytes([data[-1] ^ 1])), "content has changed"),
    (lambda path: flip(path, path.stat().st_size // 2), "damaged|changed"),
])
def test_a_file_that_is_not_what_was_written_is_refused(held, tmp_path, damage, words):
    path = tmp_path / "a.shot.npz"
    held.save(path)
    damage(path)
    with pytest.raises(InputError, match=words) as caught:
        fs.load_shot(path)
    assert "a.shot.npz" in str(caught.value) and "\n" not in str(caught.value)


def test_a_type_or_field_of_another_version_is_named(held, tmp_path, monkeypatch):
    held.save(tmp_path / "a.shot.npz")
    monkeypatch.setitem(load.MAKERS, "Bank", lambda capacitance: None)
    with pytest.raises(InputError, match=r"a.shot.npz: its Bank has other fields"):
        fs.load_shot(tmp_path / "a.shot.npz")
    monkeypatch.delitem(load.MAKERS, "Bank")
    with pytest.raises(InputError, match="holds a Bank, which this version does not know"):
        fs.load_shot(tmp_path / "a.shot.npz")


def test_a_write_that_fails_leaves_what_was_there(held, tmp_path, monkeypatch):
    path = tmp_path / "a.shot.npz"
    path.write_text("before")
    monkeypatch.setattr(container, "_add_to_hash", lambda *_: (_ for _ in ()).throw(OSError("no space left")))
    with pytest.raises(OSError, match="no space"):
        held.save(path)
    assert path.read_text() == "before" and [each.name for each in tmp_path.iterdir()] == ["a.shot.npz"]


def dataclasses_below(value, found):
    """Types of all dataclasses that a value holds."""
    if isinstance(value, (tuple, list)):
        for item in value:
            dataclasses_below(item, found)
    elif isinstance(value, dict):
        dataclasses_below(list(value.values()), found)
    elif is_dataclass(value) and type(value) not in found:
        found.add(type(value))
        for each in fields(value):
            dataclasses_below(getattr(value, each.name), found)
    return found


def test_every_type_that_a_shot_may_hold_is_registered(moving):
    known = set(load.TYPES) | {Mesh, type(moving)}
    named = {getattr(fs, name) for name in fs.__all__ if isinstance(getattr(fs, name), type)}
    inputs = {kind for kind in named if is_dataclass(kind) and kind.__module__.split(".")[1] in ("materials", "motion", "circuit")}
    assert len(inputs) > 10 and inputs <= known
    assert dataclasses_below(moving, set()) <= known
    assert {type(fs.material(name).bh_curve) for name in fs.material_names() if fs.material(name).bh_curve} <= known
    assert PrescribedCurrentNetwork in known and len(load.MAKERS) == len(known)


def test_plain_data_come_back_as_they_were():
    shared = np.arange(3.0)
    value = (1, -0.0, 1e-300, math.inf, None, True, "text", [1, (2, 3)], {("a", "b"): shared, "c": shared}, fs.Leads(1e-3, 0.0))
    encoder = Encoder()
    data = json.loads(json.dumps(encoder.encode(value, "value"), allow_nan=False))
    back = decode(data, encoder.objects, encoder.arrays, {"Leads": fs.Leads})
    assert back[:8] == value[:8] and math.copysign(1, back[1]) == -1 and back[9] == value[9]
    assert back[8]["a", "b"] is back[8]["c"] and len(encoder.arrays) == 1
    assert math.isnan(decode(encoder.encode(math.nan, ""), [], [], {}))


# ---- what a prompt shows -------------------------------------------------------------------------------------------------

def test_a_prompt_shows_sizes_and_no_arrays(moving):
    strip = geo.AxialStrip([geo.cylinder(radius=10e-3, length=5e-3, material=COPPER)])
    run = fs.solve_transient(strip, times=[1e-4], face_field=1e5, accuracy=5e-2)
    circuit = fs.solve_circuit(fs.Bank(1e-6, 1e3), load_resistance=0.1, load_inductance=1e-6, end_time=1e-6)
    shown = [moving, moving.history, moving.energy, moving.problem, moving.metal, moving.metal_at(1e-6), moving.instants[0],
             moving.instants[0].metal, moving.heated_metal, moving.heated_metal.zones[0], moving.field_at(1e-6),
             moving.profile("disc", 1e-6), moving.network, moving.network.banks[0], moving.work, CaseText("a.toml", "x" * 1000),
             fs.PrescribedCurrents({"coil": (np.arange(1.0, 1e3), np.arange(1.0, 1e3))}),
             run, run.problem, run.instants[0], run.field_at(1e-4), circuit]
    for value in shown:
        assert len(repr(value)) < 300 and "array(" not in repr(value) and "\n" not in repr(value), repr(value)


def test_every_law_and_curve_of_the_package_can_be_kept():
    public = [getattr(materials, name) for name in materials.__all__]
    kinds = {kind for kind in public if hasattr(kind, "cold_worked") or hasattr(kind, "differential_reluctivity")}
    assert len(kinds) >= 5 and kinds <= set(load.TYPES)
