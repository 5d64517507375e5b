"""Metals: their properties, with the source of every number."""
from fieldsolve.materials.catalogue import material, material_names, material_sheet
from fieldsolve.materials.material import Material, thermal_of
from fieldsolve.materials.mechanical import FlowStress, Mechanical
from fieldsolve.materials.thermal import Thermal

__all__ = ["FlowStress", "Material", "Mechanical", "Thermal", "material", "material_names", "material_sheet", "thermal_of"]
