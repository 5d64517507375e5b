"""Wrong keywords and types in Python: one error of this package that says what is known, and nothing lost by the check."""
import inspect
import pickle
from dataclasses import is_dataclass, replace

import pytest

import fieldsolve as fs
import geometries as geo
from fieldsolve.errors import FieldError, InputError, KeywordError

COPPER = fs.material("copper")
SECTION = geo.CrossSection([geo.solenoid(turns=2, bore_radius=15.6e-3, wire_diameter=3e-3, pitch=3.3e-3, material=COPPER),
                            geo.disc(radius=15e-3, thickness=2e-3, material=COPPER)])
BANK = fs.Bank(capacitance=120e-6, voltage=1e3, inductance=300e-9)
NO_KEYWORDS = {"Case", "Comparison", "Row", "LogEntry", "ShotLog", "Interval", "Estimate", "ComplexEstimate", "Part", "Zone", "Bore",
               "material_names", "material_data", "read_material", "measured_disc", "errors"}      # of the package, or of one argument


@pytest.mark.parametrize(("call", "message"), [
    (lambda: fs.Bank(capacitance=120e-6, volatge=5e3), "unknown keyword 'volatge' of Bank: did you mean 'voltage'"),
    (lambda: geo.solenoid(turn=8), "unknown keyword 'turn' of solenoid: did you mean 'turns'"),
    (lambda: geo.disc(radius=1e-2, thicknes=1e-3), "'thicknes' of disc: did you mean 'thickness'"),
    (lambda: fs.solve_static(SECTION, curents={"coil": 1.0}), "'curents' of solve_static: did you mean 'currents'"),
    (lambda: fs.solve_shot(SECTION, BANK, endtime=1e-5), "'endtime' of solve_shot: did you mean 'end_time'"),
    (lambda: fs.Material(conductivty=1e7), "'conductivty' of Material: did you mean 'conductivity'"),
    (lambda: fs.Channel(colum=1), "'colum' of Channel: did you mean 'column'"),
    (lambda: fs.Crowbar(qqq=1), r"'qqq' of Crowbar: known are across, "),
])
def test_a_misspelt_keyword_is_refused_with_the_nearest(call, message):
    with pytest.raises(KeywordError, match=message) as refused:
        call()
    assert isinstance(refused.value, TypeError) and isinstance(refused.value, InputError)


def test_an_old_keyword_is_not_taken_for_a_misspelt_one():
    with pytest.raises(TypeError, match=r"figures= of fs\.solve_static is called goals="):
        fs.solve_static(SECTION, figures="inductance")


def public_names():
    return [(package, name) for package, names in ((geo, geo.__all__), (fs, fs.__all__)) for name in names
            if name not in NO_KEYWORDS and not name.startswith("_") and not name.endswith(("Error", "Warning"))]


@pytest.mark.parametrize(("package", "name"), public_names())
def test_every_public_name_refuses_an_unknown_keyword(package, name):
    thing = getattr(package, name)
    if not (inspect.isfunction(thing) or is_dataclass(thing)):
        pytest.skip("takes no keywords")
    with pytest.raises(KeywordError, match="unknown keyword 'no_such_word'"):
        thing(no_such_word=1)


@pytest.mark.parametrize(("package", "name"), public_names())
def test_signature_and_pickle_are_those_of_the_name_itself(package, name):
    thing = getattr(package, name)
    assert "keywords" not in inspect.signature(thing).parameters and thing.__doc__
    assert pickle.loads(pickle.dumps(thing)) is thing


def test_a_dataclass_stays_one():
    again = pickle.loads(pickle.dumps(BANK))
    assert again == BANK == replace(replace(BANK, voltage=2e3), voltage=1e3)
    assert "capacitance" in inspect.signature(fs.Bank).parameters
    with pytest.raises(KeywordError, match="did you mean 'voltage'"):
        replace(BANK, volts=2.0)


@pytest.mark.parametrize(("call", "message"), [
    (lambda: fs.solve_static([SECTION], {"coil": 1.0}), r"section = .*is no cross-section: give geo.CrossSection"),
    (lambda: fs.solve_shot("rig", BANK, end_time=1e-6), "section = 'rig': is no cross-section"),
    (lambda: fs.bridge_check(SECTION, frequencies="1 kHz"), r"frequencies = '1 kHz': expected several in hertz"),
    (lambda: fs.solve_static(SECTION, 1000.0), r"currents = 1000.0: expected values by name, such as \{'coil': 1000.0\}"),
    (lambda: fs.solve_static(SECTION, {"coil": 1.0}, points=[1, 2]), r"points = \[1, 2\]: expected places \(r, z\) in metres"),
    (lambda: fs.solve_static(SECTION, applied_field="1 T"), "applied_field = '1 T': expected a number in T, for example 0.01"),
    (lambda: fs.solve_harmonic(SECTION, "10 kHz", {"coil": 1.0}), "frequency = '10 kHz': give a positive number of hertz"),
    (lambda: fs.solve_harmonic(SECTION, 1e3, {"coil": "1 kA"}), "currents: coil = '1 kA': expected a number in A"),
    (lambda: fs.solve_shot(SECTION, BANK, end_time=1e-6, motion="yes"), "motion = 'yes': give True, False, or the motion"),
    (lambda: fs.solve_shot(SECTION, BANK, end_time=1e-6, accuracy=None), "accuracy = None: give a relative accuracy"),
    (lambda: fs.solve_shot(SECTION, BANK, end_time=1e-6, method="RK4"), "method = 'RK4': give a method of fieldsolve.ode"),
    (lambda: fs.PrescribedCurrents(5), r"currents = 5: expected values by name"),
    (lambda: fs.PrescribedCurrents({"coil": (["a"], ["b"])}), r"times of coil = \['a'\]: expected numbers"),
    (lambda: fs.Former(mass="1 kg", strength=1.0), "mass = '1 kg' kg: expected a finite number"),
    (lambda: fs.FlowMotion("x"), "fineness = 'x': give a finite number"), (lambda: fs.read_record(5), "record = 5: expected the path"),
    (lambda: fs.Channel(column=1, scale=[1]), r"scale = \[1\] must be a number or text"),
    (lambda: fs.solve_case("rig.toml"), "case = 'rig.toml': expected a case, from fs.read_case"),
    (lambda: fs.skin_depth(frequency="x", conductivity=1.0), "frequency = 'x': a skin depth needs a positive number"),
    (lambda: fs.solve_static(geo.CrossSection([geo.disc(radius=1e-2, thickness=2e-3, material="copper")]), applied_field=1.0),
     r"disc: material = 'copper' is a name: give the metal itself, fs.material\('copper'\)"),
])
def test_a_wrong_type_is_refused_by_its_name(call, message):
    with pytest.raises(FieldError, match=message):
        call()
