"""Axisymmetric coils and bodies: builders of parts, the cross-section they make, and its mesh.
Lengths are in metres; a part carries its material without reading it.  Only `mesher` uses gmsh."""
from geometries.coils import loop, sheet, solenoid, spiral, winding
from geometries.cross_section import AxialStrip, Bore, CrossSection
from geometries.discs import clad_disc, disc, plate, ring_and_core, washer
from geometries.errors import FieldError, GeometryError, MeshError
from geometries.parts import Part, Zone
from geometries.workpieces import cylinder, ring, shell, sphere, spheroid, tube

__all__ = [
    "AxialStrip", "Bore", "CrossSection", "FieldError", "GeometryError", "MeshError", "Part", "Zone",
    "clad_disc", "cylinder", "disc", "loop", "plate", "ring", "ring_and_core", "sheet", "shell", "solenoid",
    "sphere", "spheroid", "spiral", "tube", "washer", "winding",
]
