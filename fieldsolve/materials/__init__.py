"""Metals: their properties, with the source of every number."""
from fieldsolve.materials.material import Material, material, material_names, material_sheet, thermal_of
from fieldsolve.materials.thermal import Thermal

__all__ = ["Material", "Thermal", "material", "material_names", "material_sheet", "thermal_of"]
