"""A user's script as a type checker reads it: what each public call returns.  mypy checks it; it is never run."""
from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import assert_type

import numpy as np

import fieldsolve as fs
import geometries as geo
from fieldsolve.circuit.contract import Circuit
from fieldsolve.circuit.equations import Network
from fieldsolve.circuit.prescribed_currents import PrescribedCurrentNetwork
from fieldsolve.field.harmonic.bridge_check import BridgeRow
from fieldsolve.field.harmonic.field import HarmonicField, HarmonicSweep
from fieldsolve.field.plottable_field import PlottableCurrents, PlottableField
from fieldsolve.field.static.field import StaticField
from fieldsolve.field.static.solution import StaticSolution
from fieldsolve.field.transient.field import ShotField
from fieldsolve.field.transient.solve import Transient
from fieldsolve.motion.contract import DeformingMotion, Motion
from fieldsolve.rig.card import Card
from fieldsolve.shot.circuit_only import CircuitHistory
from fieldsolve.shot.result.shot import Shot
from geometries.parts import Part


def a_section() -> geo.CrossSection:
    """Coil and disc."""
    coil = geo.solenoid(turns=8, bore_radius=15.6e-3, wire_diameter=3.0e-3, pitch=3.3e-3, material=fs.material("copper"))
    disc = geo.disc(radius=15e-3, thickness=2e-3, material=fs.Material(name="bronze", conductivity=9e6))
    assert_type(coil, Part)
    return geo.CrossSection([coil, disc])


def a_static_field(section: geo.CrossSection | geo.AxialStrip) -> None:
    """A field at rest, and its estimates."""
    field = fs.solve_static(section, currents={"coil": 1e3}, accuracy=1e-3, goals=["inductance"], linear_solver="superlu")
    assert_type(field, StaticField)
    assert_type(field.fine, StaticSolution)
    assert_type(field.peak_field("bore"), fs.Estimate)
    assert_type(field.peak_field().error, float)
    assert_type(field.inductance("coil"), fs.Estimate)
    assert_type(field.flux_density(np.zeros(3), np.zeros(3)), tuple[np.ndarray, np.ndarray])
    drawn: PlottableField = field
    assert drawn


def a_harmonic_field(section: geo.CrossSection, frequencies: Sequence[float]) -> None:
    """One frequency gives a field, several give a sweep."""
    field = fs.solve_harmonic(section, 1e3, {"coil": 1.0}, applied_field=0.1j)
    assert_type(field, HarmonicField)
    assert_type(fs.solve_harmonic(section, 50, voltages={"coil": 1 + 2j}), HarmonicField)
    assert_type(field.resistance("coil"), fs.Estimate)
    assert_type(field.net_current("disc"), fs.ComplexEstimate)
    sweep = fs.solve_harmonic(section, frequencies, {"coil": 1.0})
    assert_type(sweep, HarmonicSweep)
    assert_type(fs.solve_harmonic(section, np.geomspace(1e2, 1e4, 3)), HarmonicSweep)
    assert_type([one.loss("disc") for one in sweep], list[fs.Estimate])
    assert_type(fs.bridge_check(section, frequencies=frequencies), tuple[BridgeRow, ...])
    drawn: PlottableField = field
    with_currents: PlottableCurrents = field
    assert drawn and with_currents


def a_transient_field(section: geo.AxialStrip) -> None:
    """A field without a circuit."""
    run = fs.solve_transient(section, times=[1e-6, 2e-6], face_field=(0.0, 1e4))
    assert_type(run, Transient)
    assert_type(run.field_at(1e-6), ShotField)
    assert_type(run.refined(), Transient)


def a_shot(section: geo.CrossSection, motion: dict[str, Motion]) -> None:
    """A discharge, its result, and the same from a file."""
    bank = fs.Bank(120e-6, 5e3, resistance=3e-3, inductance=100e-9)
    shot = fs.solve_shot(section, bank, end_time=60e-6, motion=motion, leads=fs.Leads(1e-3, 20e-9))
    assert_type(shot, Shot)
    assert_type(fs.solve_shot(section, fs.PrescribedCurrents({"coil": lambda time: 1e9 * time}), end_time=60e-6), Shot)
    assert_type(fs.load_shot(Path("kept.shot.npz")), Shot)
    assert_type(shot.refined(), Shot)
    assert_type(shot.peak("current", "coil"), fs.Estimate)
    assert_type(shot.burst_time("coil"), fs.Estimate | None)
    assert_type(shot.field_at(10e-6), ShotField)
    assert_type(shot.series("current", "coil"), np.ndarray)
    assert_type(fs.write_shot_figures(shot, "pictures"), list[Path])
    assert_type(fs.solve_circuit(bank, load_resistance=0.01, load_inductance=1e-6, end_time=60e-6), CircuitHistory)
    drawn: PlottableField = shot.field_at(10e-6)
    assert drawn


def a_case() -> None:
    """A case file: its shot or field, and the card of its rig."""
    case = fs.read_case("press.toml")
    assert_type(case, fs.Case)
    assert_type(fs.read_rig(case), fs.Rig)
    assert_type(fs.solve_case(case), Shot | StaticField | HarmonicField | HarmonicSweep)
    shots = fs.solve_rig_shots(case)
    assert_type(shots.shot, Shot | None)
    assert_type(fs.rig_card(fs.read_rig(case), shots.shot, shots.moving_shot, shots.coil_inductance), Card)


def the_contracts(network: Network, prescribed: PrescribedCurrentNetwork) -> None:
    """What is built in keeps the contracts that others may keep."""
    circuits: list[Circuit] = [network, prescribed]
    motions: list[Motion] = [fs.AxialMotion(), fs.RadialMotion(flow_stress=30e6), fs.FlowMotion(), fs.HoopMotion()]
    deforming: list[DeformingMotion] = [fs.FlowMotion(), fs.HoopMotion()]
    assert circuits and motions and deforming
