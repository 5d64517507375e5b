"""Axisymmetric fields of pulsed-power coils around metal discs, by finite elements.

Names are loaded when first used, so that importing the package costs nothing.
"""
from __future__ import annotations

import importlib

__version__ = "0.1.0"

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
    "solve_shot": "fieldsolve.shot.solve",
    "solve_circuit": "fieldsolve.shot.circuit_only",
    "solve_transient": "fieldsolve.field.transient.solve",
    "plot_current": "fieldsolve.report.plots.shot",
    "plot_sections": "fieldsolve.report.plots.motion",
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
    "read_rig": "fieldsolve.cases.rig_tables",
    "shot_quantities": "fieldsolve.rig.from_shot",
    "moving_shot_quantities": "fieldsolve.rig.from_shot",
    "card_facts": "fieldsolve.report.text.rig",
    "card_summary": "fieldsolve.report.text.rig",
    "skin_depth": "fieldsolve.skin",
    "diffusion_time": "fieldsolve.skin",
}
_MODULES = ("errors",)

__all__ = ["__version__", *_HOMES, *_MODULES]


def __getattr__(name: str):
    if name in _MODULES:
        return importlib.import_module(f"fieldsolve.{name}")
    if name not in _HOMES:
        raise AttributeError(f"module 'fieldsolve' has no attribute {name!r}")
    value = globals()[name] = getattr(importlib.import_module(_HOMES[name]), name)
    return value


def __dir__():
    return sorted(__all__)
