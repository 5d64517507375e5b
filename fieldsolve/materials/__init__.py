"""Metals: their properties, with the source of every number."""
from fieldsolve.materials.material import Material, material, material_names, material_sheet

__all__ = ["Material", "material", "material_names", "material_sheet"]
