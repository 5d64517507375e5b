"""Metals, laws, curves, circuits and motions are data: they pickle, copy and print in one line."""
import copy
import pickle

import numpy as np
import pytest

import fieldsolve as fs
from fieldsolve.circuit.equations import Network
from fieldsolve.circuit.prescribed_currents import PrescribedCurrentNetwork
from fieldsolve.materials.bh_curve import BHCurve
from fieldsolve.materials.heat_content import heat_content


def ramp(time):
    """A waveform that can be imported."""
    return 1e9 * time


def fall(time, r, z):
    """A path that can be imported."""
    return r, z - 5.0 * time


BANK = fs.Bank(capacitance=120e-6, voltage=6.5e3, arc_voltage=80.0)
CURVES = [fs.Frohlich(saturation=2.0, initial_permeability=1000.0), fs.Brauer(k1=49.4, k2=1.46, k3=520.6),
          fs.BHTable(field=(100.0, 1e3, 1e4), flux_density=(0.5, 1.2, 1.7)),
          fs.BHTable(field=(100.0, 1e3, 1e4), flux_density=(0.5, 1.2, 1.7), smooth=False)]
DATA = [
    *map(fs.material, fs.material_names()), fs.material("copper", temper="hard", flow_stress_law="zerilli-armstrong"),
    fs.Material(conductivity=1e7, remanence=1.2), *CURVES, BANK, fs.Crowbar(resistance=1e-3), fs.Leads(1e-3, 1e-7),
    Network((BANK,), (("coil",),)), fs.PrescribedCurrents({"coil": ramp, "other": ([0.0, 1e-5], [0.0, 1e3])}, applied_field=0.1),
    PrescribedCurrentNetwork(fs.PrescribedCurrents({"coil": ramp}), 1e-5), fs.Former(mass=0.1, strength=50e3), fs.FlowMotion(2.0),
    fs.HoopMotion(fs.Former(strength=1e4)), fs.AxialMotion(gravity=True), fs.RadialMotion(flow_stress=90e6), fs.PrescribedMotion(fall),
]


@pytest.mark.parametrize("thing", DATA, ids=lambda thing: f"{type(thing).__name__} {getattr(thing, 'name', '')}")
def test_it_pickles_and_copies(thing):
    for found in (pickle.loads(pickle.dumps(thing)), copy.copy(thing), copy.deepcopy(thing)):
        assert found == thing and type(found) is type(thing)


@pytest.mark.parametrize("curve", CURVES, ids=lambda curve: type(curve).__name__)
def test_a_curve_pickles_after_it_was_used(curve):
    B = np.linspace(0.0, 3.0, 7)
    H = curve.field_strength(B)
    found = pickle.loads(pickle.dumps(curve))
    assert isinstance(found, BHCurve)
    assert np.array_equal(found.field_strength(B), H)


def test_heat_content_pickles_and_gives_the_same_digits():
    content, h = heat_content(fs.material("copper")), np.linspace(0.0, 9e9, 9)
    for found in (pickle.loads(pickle.dumps(content)), copy.deepcopy(content)):
        assert np.array_equal(found.temperature(h), content.temperature(h))


def test_a_waveform_that_cannot_be_imported_is_named_when_pickled():
    for drive in (fs.PrescribedCurrents({"coil": lambda time: 1e9 * time}), fs.PrescribedMotion(lambda time, r, z: (r, z))):
        with pytest.raises((pickle.PicklingError, AttributeError), match="lambda"):
            pickle.dumps(drive)


@pytest.mark.parametrize("name", ["copper", "nickel", "own"])
def test_a_metal_prints_in_one_line(name):
    metal = fs.Material(name="own", conductivity=1e7, remanence=-1.2) if name == "own" else fs.material(name)
    assert repr(metal).startswith(f"Material({metal.name!r}, conductivity=") and len(repr(metal)) < 200 and "\n" not in repr(metal)
    assert ("remanence=-1.2" in repr(metal)) == (name == "own")
    assert ("mechanical" in repr(metal)) == (name != "own")
