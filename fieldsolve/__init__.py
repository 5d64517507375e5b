"""Axisymmetric fields of pulsed-power coils around metal discs, by finite elements.

Names are loaded when first used, so that importing the package costs nothing.
"""
from __future__ import annotations

import importlib
from typing import TYPE_CHECKING

from fieldsolve.renamed import NAMES, renamed_error
from fieldsolve.version import VERSION as __version__

if TYPE_CHECKING:                        # what static tools see; _HOMES is what runs
    from fieldsolve import errors as errors
    from fieldsolve.cases.case_file import Case as Case
    from fieldsolve.cases.case_file import read_case as read_case
    from fieldsolve.cases.case_file import read_rig as read_rig
    from fieldsolve.cases.solve import solve_case as solve_case
    from fieldsolve.cases.solve import solve_rig_shots as solve_rig_shots
    from fieldsolve.circuit.bank import Bank as Bank
    from fieldsolve.circuit.bank import Crowbar as Crowbar
    from fieldsolve.circuit.bank import Leads as Leads
    from fieldsolve.circuit.bank import plate_leads as plate_leads
    from fieldsolve.circuit.bank import wire_leads as wire_leads
    from fieldsolve.circuit.prescribed_currents import PrescribedCurrents as PrescribedCurrents
    from fieldsolve.estimate import ComplexEstimate as ComplexEstimate
    from fieldsolve.estimate import Estimate as Estimate
    from fieldsolve.estimate import Interval as Interval
    from fieldsolve.field.harmonic.bridge_check import bridge_check as bridge_check
    from fieldsolve.field.harmonic.solve import solve_harmonic as solve_harmonic
    from fieldsolve.field.reduced.decay import decay_times as decay_times
    from fieldsolve.field.static.solve import solve_static as solve_static
    from fieldsolve.field.transient.solve import solve_transient as solve_transient
    from fieldsolve.inference.bands import SeriesBand as SeriesBand
    from fieldsolve.inference.calibration.calibrate import ModelCalibration as ModelCalibration
    from fieldsolve.inference.calibration.calibrate import calibrate as calibrate
    from fieldsolve.inference.calibration.held_out import HeldOut as HeldOut
    from fieldsolve.inference.quick_look import InductanceFromTrace as InductanceFromTrace
    from fieldsolve.inference.quick_look import inductance_from_trace as inductance_from_trace
    from fieldsolve.inference.radius import RadiusFromTrace as RadiusFromTrace
    from fieldsolve.inference.radius import radius_from_trace as radius_from_trace
    from fieldsolve.inference.statistics.misfit import MisfitTest as MisfitTest
    from fieldsolve.inference.statistics.misfit import combined_misfit as combined_misfit
    from fieldsolve.materials import BHTable as BHTable
    from fieldsolve.materials import Brauer as Brauer
    from fieldsolve.materials import Frohlich as Frohlich
    from fieldsolve.materials import JohnsonCook as JohnsonCook
    from fieldsolve.materials import Material as Material
    from fieldsolve.materials import Mechanical as Mechanical
    from fieldsolve.materials import Thermal as Thermal
    from fieldsolve.materials import ZerilliArmstrong as ZerilliArmstrong
    from fieldsolve.materials import alloy as alloy
    from fieldsolve.materials import material as material
    from fieldsolve.materials import material_data as material_data
    from fieldsolve.materials import material_names as material_names
    from fieldsolve.materials import measured_disc as measured_disc
    from fieldsolve.materials import read_material as read_material
    from fieldsolve.motion.hoops.former import Former as Former
    from fieldsolve.motion.hoops.motion import HoopMotion as HoopMotion
    from fieldsolve.motion.plastic_flow.motion import FlowMotion as FlowMotion
    from fieldsolve.motion.rigid import AxialMotion as AxialMotion
    from fieldsolve.motion.rigid import PrescribedMotion as PrescribedMotion
    from fieldsolve.motion.rigid import RadialMotion as RadialMotion
    from fieldsolve.propagation.result import Band as Band
    from fieldsolve.propagation.result import Bands as Bands
    from fieldsolve.propagation.solve import bands as bands
    from fieldsolve.records.comparison.compare import Comparison as Comparison
    from fieldsolve.records.comparison.compare import compare as compare
    from fieldsolve.records.comparison.rows import Row as Row
    from fieldsolve.records.impulse import impulse_current as impulse_current
    from fieldsolve.records.instruments import calibrate_channel as calibrate_channel
    from fieldsolve.records.instruments import instrument_channels as instrument_channels
    from fieldsolve.records.log import LogEntry as LogEntry
    from fieldsolve.records.log import ShotLog as ShotLog
    from fieldsolve.records.reading.read import read_record as read_record
    from fieldsolve.records.record import Channel as Channel
    from fieldsolve.records.record import Record as Record
    from fieldsolve.records.ringdown.fit import fit_ring_down as fit_ring_down
    from fieldsolve.report.animation.movie import animate as animate
    from fieldsolve.report.blank.drawing import plot_dimensions as plot_dimensions
    from fieldsolve.report.blank.in_the_round import plot_blank as plot_blank
    from fieldsolve.report.files.vtu import write_vtu_series as write_vtu_series
    from fieldsolve.report.plots.motion import plot_metal as plot_metal
    from fieldsolve.report.plots.motion import plot_sections as plot_sections
    from fieldsolve.report.plots.motion import plot_shape as plot_shape
    from fieldsolve.report.plots.shot import plot_current as plot_current
    from fieldsolve.report.plots.shot import write_shot_figures as write_shot_figures
    from fieldsolve.report.text.rig import card_facts as card_facts
    from fieldsolve.report.text.rig import card_summary as card_summary
    from fieldsolve.rig.card import rig_card as rig_card
    from fieldsolve.rig.coil import empty_inductance as empty_inductance
    from fieldsolve.rig.from_shot import moving_shot_quantities as moving_shot_quantities
    from fieldsolve.rig.from_shot import shot_quantities as shot_quantities
    from fieldsolve.rig.rig import Rig as Rig
    from fieldsolve.shot.circuit_only import solve_circuit as solve_circuit
    from fieldsolve.shot.load import load_shot as load_shot
    from fieldsolve.shot.reduced.solve import reduce_section as reduce_section
    from fieldsolve.shot.result.dimensions import Dimensions as Dimensions
    from fieldsolve.shot.resume import resume_shot as resume_shot
    from fieldsolve.shot.solve import solve_shot as solve_shot
    from fieldsolve.skin import diffusion_time as diffusion_time
    from fieldsolve.skin import skin_depth as skin_depth
    from fieldsolve.sweeps.design.design import design as design
    from fieldsolve.sweeps.design.result import Design as Design
    from fieldsolve.sweeps.points import Samples as Samples
    from fieldsolve.sweeps.result import Sweep as Sweep
    from fieldsolve.sweeps.sweep import sweep as sweep

_HOMES = {
    "Material": "fieldsolve.materials",
    "material": "fieldsolve.materials",
    "material_names": "fieldsolve.materials",
    "material_data": "fieldsolve.materials",
    "alloy": "fieldsolve.materials",
    "measured_disc": "fieldsolve.materials",
    "read_material": "fieldsolve.materials",
    "Thermal": "fieldsolve.materials",
    "Mechanical": "fieldsolve.materials",
    "JohnsonCook": "fieldsolve.materials",
    "ZerilliArmstrong": "fieldsolve.materials",
    "Frohlich": "fieldsolve.materials",
    "Brauer": "fieldsolve.materials",
    "BHTable": "fieldsolve.materials",
    "Estimate": "fieldsolve.estimate",
    "ComplexEstimate": "fieldsolve.estimate",
    "solve_static": "fieldsolve.field.static.solve",
    "solve_harmonic": "fieldsolve.field.harmonic.solve",
    "bridge_check": "fieldsolve.field.harmonic.bridge_check",
    "decay_times": "fieldsolve.field.reduced.decay",
    "solve_shot": "fieldsolve.shot.solve",
    "load_shot": "fieldsolve.shot.load",
    "resume_shot": "fieldsolve.shot.resume",
    "solve_circuit": "fieldsolve.shot.circuit_only",
    "reduce_section": "fieldsolve.shot.reduced.solve",
    "solve_transient": "fieldsolve.field.transient.solve",
    "plot_current": "fieldsolve.report.plots.shot",
    "plot_sections": "fieldsolve.report.plots.motion",
    "animate": "fieldsolve.report.animation.movie", "plot_dimensions": "fieldsolve.report.blank.drawing",
    "plot_blank": "fieldsolve.report.blank.in_the_round", "Dimensions": "fieldsolve.shot.result.dimensions",
    "plot_shape": "fieldsolve.report.plots.motion",
    "plot_metal": "fieldsolve.report.plots.motion",
    "write_shot_figures": "fieldsolve.report.plots.shot",
    "write_vtu_series": "fieldsolve.report.files.vtu",
    "Bank": "fieldsolve.circuit.bank",
    "PrescribedCurrents": "fieldsolve.circuit.prescribed_currents",
    "AxialMotion": "fieldsolve.motion.rigid",
    "RadialMotion": "fieldsolve.motion.rigid",
    "PrescribedMotion": "fieldsolve.motion.rigid",
    "HoopMotion": "fieldsolve.motion.hoops.motion",
    "FlowMotion": "fieldsolve.motion.plastic_flow.motion",
    "Former": "fieldsolve.motion.hoops.former",
    "Crowbar": "fieldsolve.circuit.bank",
    "Leads": "fieldsolve.circuit.bank",
    "plate_leads": "fieldsolve.circuit.bank",
    "wire_leads": "fieldsolve.circuit.bank",
    "Rig": "fieldsolve.rig.rig",
    "rig_card": "fieldsolve.rig.card",
    "empty_inductance": "fieldsolve.rig.coil",
    "Case": "fieldsolve.cases.case_file",
    "read_case": "fieldsolve.cases.case_file",
    "read_rig": "fieldsolve.cases.case_file",
    "solve_case": "fieldsolve.cases.solve",
    "solve_rig_shots": "fieldsolve.cases.solve",
    "shot_quantities": "fieldsolve.rig.from_shot",
    "moving_shot_quantities": "fieldsolve.rig.from_shot",
    "card_facts": "fieldsolve.report.text.rig",
    "card_summary": "fieldsolve.report.text.rig",
    "Interval": "fieldsolve.estimate",
    "Channel": "fieldsolve.records.record",
    "Record": "fieldsolve.records.record",
    "fit_ring_down": "fieldsolve.records.ringdown.fit",
    "impulse_current": "fieldsolve.records.impulse",
    "calibrate_channel": "fieldsolve.records.instruments",
    "instrument_channels": "fieldsolve.records.instruments",
    "Comparison": "fieldsolve.records.comparison.compare",
    "compare": "fieldsolve.records.comparison.compare",
    "Row": "fieldsolve.records.comparison.rows",
    "bands": "fieldsolve.propagation.solve",
    "Band": "fieldsolve.propagation.result",
    "Bands": "fieldsolve.propagation.result",
    "LogEntry": "fieldsolve.records.log",
    "ShotLog": "fieldsolve.records.log",
    "read_record": "fieldsolve.records.reading.read",
    "SeriesBand": "fieldsolve.inference.bands",
    "HeldOut": "fieldsolve.inference.calibration.held_out",
    "ModelCalibration": "fieldsolve.inference.calibration.calibrate",
    "calibrate": "fieldsolve.inference.calibration.calibrate",
    "InductanceFromTrace": "fieldsolve.inference.quick_look",
    "inductance_from_trace": "fieldsolve.inference.quick_look",
    "RadiusFromTrace": "fieldsolve.inference.radius",
    "radius_from_trace": "fieldsolve.inference.radius",
    "MisfitTest": "fieldsolve.inference.statistics.misfit",
    "combined_misfit": "fieldsolve.inference.statistics.misfit",
    "skin_depth": "fieldsolve.skin",
    "diffusion_time": "fieldsolve.skin",
    "Samples": "fieldsolve.sweeps.points",
    "Sweep": "fieldsolve.sweeps.result",
    "sweep": "fieldsolve.sweeps.sweep",
    "Design": "fieldsolve.sweeps.design.result",
    "design": "fieldsolve.sweeps.design.design",
}
_MODULES = ("errors",)

__all__ = ["__version__", *_HOMES, *_MODULES]


def __getattr__(name: str):
    if name in _MODULES:
        return importlib.import_module(f"fieldsolve.{name}")
    if name in NAMES:
        raise renamed_error(f"fs.{name}", f"fs.{NAMES[name]}")
    if name not in _HOMES:
        raise AttributeError(f"module 'fieldsolve' has no attribute {name!r}")
    value = globals()[name] = getattr(importlib.import_module(_HOMES[name]), name)
    return value


def __dir__():
    return sorted(__all__)
