"""Eddy currents in time without a circuit, driven by prescribed currents or a changing applied
field: `solve_transient`, the mesh for it, and the field at one instant, which a shot's is too."""
from fieldsolve.field.transient.field import ShotField
from fieldsolve.field.transient.meshing import CompanionMesh, ShotMesh, mesh_at
from fieldsolve.field.transient.solve import solve_transient

__all__ = [
    "CompanionMesh", "ShotField", "ShotMesh", "mesh_at", "solve_transient",
]
