"""What follows from a solved field: forces by J x B, by Maxwell's stress and by virtual work, the
largest |B| of a region, and the currents and heat in the metal."""
from fieldsolve.field.quantities.induced_currents import lorentz_nodal_forces, triangle_heat_rates
from fieldsolve.field.quantities.virtual_work import virtual_work_body_forces, virtual_work_forces

__all__ = [
    "lorentz_nodal_forces", "triangle_heat_rates", "virtual_work_body_forces",
    "virtual_work_forces",
]
