"""Metals: their properties, with the source of every number."""
from fieldsolve.materials.bh_curve import BHTable, Brauer, Frohlich
from fieldsolve.materials.catalogue import alloy, material, material_data, material_names, measured_disc, read_material
from fieldsolve.materials.flow_stress import JohnsonCook, ZerilliArmstrong
from fieldsolve.materials.material import Material, thermal_data
from fieldsolve.materials.mechanical import Mechanical
from fieldsolve.materials.thermal import Thermal

__all__ = [
           "BHTable",
           "Brauer",
           "Frohlich",
           "JohnsonCook",
           "Material",
           "Mechanical",
           "Thermal",
           "ZerilliArmstrong",
           "alloy",
           "material",
           "material_data",
           "material_names",
           "measured_disc",
           "read_material",
           "thermal_data",
]
