"""From a mesh and its materials to matrices and load vectors: reluctivities and conductivities,
solid turns and stranded windings, metal with a B-H curve, and the bordered system of a field
with eddy currents."""
from fieldsolve.field.system.bh_curve_zone import BHCurveZone, bh_curve_zones
from fieldsolve.field.system.bordered_operator import BorderedOperator, factorize_bordered
from fieldsolve.field.system.coefficients import has_bh_curve, is_magnetic, material_of
from fieldsolve.field.system.eddy_current import EddySystem, eddy_system

__all__ = [
    "BHCurveZone", "BorderedOperator", "EddySystem", "bh_curve_zones", "eddy_system",
    "factorize_bordered", "has_bh_curve", "is_magnetic", "material_of",
]
