"""The mesh of a moving cross-section: conductors take their nodes along and keep their flux, the
air's nodes follow, and air whose triangles have become poor is meshed anew."""
from fieldsolve.motion.moving_mesh.flux_transport import FluxTransport, build_flux_transport
from fieldsolve.motion.moving_mesh.moving_mesh import MovingMesh, build_moving_mesh

__all__ = [
    "FluxTransport", "MovingMesh", "build_flux_transport", "build_moving_mesh",
]
