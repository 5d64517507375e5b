"""What follows from the metals' data alone: how each setup of reference/materials.toml is evaluated."""
from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace

import fieldsolve as fs
from benchmarks.checks import CaseCheck
from benchmarks.runner import run_file
from fieldsolve.materials.heat_content import heat_content


def checks(only: Iterable[str] = ()) -> Iterator[CaseCheck]:
    """Checks of all cases of the metals' data, or of those named."""
    return run_file("materials.toml", FIELDS, FORMULAS, only)


def actions(setup, accuracy):
    """Action integrals to the solidus, to all liquid and to boiling."""
    metals = [replace(fs.material(name), conductivity=1 / rho)
              for name, rho in zip(setup["metal"], setup["resistivity_at_293_K_ohm_m"], strict=True)]
    contents = [heat_content(metal) for metal in metals]
    return {
        "action_to_solidus_A2s_per_m4": [content.action(content.melting_range[0]) for content in contents],
        "action_all_liquid_A2s_per_m4": [content.action(content.melting_range[1]) for content in contents],
        "action_to_boiling_A2s_per_m4": [content.action(content.boiling_range[0]) for content in contents],
    }


def onset_of_boiling(setup, accuracy):
    """Action integral to where boiling starts."""
    return {"action_to_boiling_A2s_per_m4": actions(setup, accuracy)["action_to_boiling_A2s_per_m4"]}


def linear_action(setup, accuracy):
    """Action integral of a metal of one's own with a linear law."""
    metal = fs.Material(conductivity=setup["conductivity_S_per_m"], density=setup["density_kg_per_m3"],
                        heat_capacity=setup["heat_capacity_J_per_kg_K"], temperature_coefficient=setup["temperature_coefficient_per_K"])
    return {"action_A2s_per_m4": heat_content(metal).action(setup["melting_K"])}


def skin(setup, accuracy):
    """Skin depth and diffusion time of each metal, at the permeability of vacuum."""
    conductivities = [fs.material(name).conductivity for name in setup["metal"]]
    return {
        "skin_depth_m": [fs.skin_depth(frequency=setup["frequency_Hz"], conductivity=sigma) for sigma in conductivities],
        "diffusion_time_s": [fs.diffusion_time(thickness=setup["thickness_m"], conductivity=sigma) for sigma in conductivities],
    }


FIELDS = {}
FORMULAS = {"action-integral": actions, "action-integral-burst": onset_of_boiling, "action-integral-linear-law": linear_action,
            "skin-depth-of-metals": skin}
