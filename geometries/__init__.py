"""Axisymmetric coils and bodies: builders of parts, the cross-section they make, and its mesh.
Lengths are in metres; a part carries its material without reading it.  Only `mesher` uses gmsh."""
from geometries.coils import loop, sheet, solenoid, spiral, winding
from geometries.cross_section import AxialStrip, Bore, CrossSection
from geometries.errors import FieldError, GeometryError, MeshError
from geometries.parts import Part, Zone
from geometries.workpieces import clad_disc, cylinder, disc, plate, ring, ring_and_core, shell, sphere, spheroid, tube, washer

__all__ = [
    "AxialStrip", "Bore", "CrossSection", "FieldError", "GeometryError", "MeshError", "Part", "Zone",
    "clad_disc", "cylinder", "disc", "loop", "plate", "ring", "ring_and_core", "sheet", "shell", "solenoid",
    "sphere", "spheroid", "spiral", "tube", "washer", "winding",
]
