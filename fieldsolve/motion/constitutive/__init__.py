"""How a piece of metal resists deformation and how hot it becomes: flow stress, the plastic strain
that returns a stress to it, and temperature from enthalpy, for many cells at once."""
from fieldsolve.motion.constitutive.johnson_cook import FlowStressArrays, flow_stress_arrays, plastic_strain_increment, thermal_softening
from fieldsolve.motion.constitutive.temperature import HeatContents, inverse_heat_capacity, temperature_from_enthalpy

__all__ = [
    "FlowStressArrays", "HeatContents", "flow_stress_arrays", "inverse_heat_capacity",
    "plastic_strain_increment", "temperature_from_enthalpy", "thermal_softening",
]
