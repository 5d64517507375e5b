"""The field at the points that are drawn or written: on triangles that cover a box, on both sides
of every border, and the outlines of the metal."""
