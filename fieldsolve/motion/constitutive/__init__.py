"""How metal resists deformation and how hot it becomes, for many cells at once: the plastic strain
that returns a stress to the flow stress of any law, and temperature from enthalpy."""
from fieldsolve.motion.constitutive.return_mapping import plastic_strain_increment
from fieldsolve.motion.constitutive.temperature import HeatContents, inverse_heat_capacity, temperature_from_enthalpy

__all__ = [
    "HeatContents", "inverse_heat_capacity", "plastic_strain_increment", "temperature_from_enthalpy",
]
