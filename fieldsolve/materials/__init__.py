"""Metals: conductivity, B-H curve, heat content, elasticity and flow stress, with the source of
every number.  The data files lie in `data`, one a metal; a metal is found by its name,
designation or alias."""
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
