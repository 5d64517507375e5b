"""Fields as files for other programs: the meshed room as an unstructured grid of quadratic triangles (.vtu)."""
from __future__ import annotations

from pathlib import Path

import numpy as np

from fieldsolve.errors import InputError
from fieldsolve.report.sides import SideField, field_on_sides, visible_triangles
from fieldsolve.report.whole_file import write_whole


def write_vtu(field, path: str | Path) -> None:
    """Write a field on its mesh, whole or not at all.

    points      (r, z, 0) in metres; a point on a border of metal is there once for each side, since B may jump
    cells       'triangle6': corners, then the middles of edges 0-1, 1-2, 2-0; the meshed room only, not the open space around it
    point data  A_phi [Wb/m]; B [T] with components r, z and 0, averaged over the cells of one side
                of phasors `A_phi real`, `A_phi imaginary`, `B real`, `B imaginary`
    cell data   region: 0 for air, k + 1 for zone k of the metal, whose part is `field.mesh.regions[k]`
    Raises InputError for a suffix other than .vtu, OSError where the folder cannot be written to.
    """
    import meshio

    if Path(path).suffix.lower() != ".vtu":
        raise InputError(f"mesh file {path}: the name must end in .vtu")
    nodes = field_on_sides(field, visible_triangles(field.mesh))
    grid = meshio.Mesh(np.column_stack([nodes.r, nodes.z, np.zeros_like(nodes.r)]), [("triangle6", nodes.places)],
                       point_data=_point_data(nodes), cell_data={"region": [nodes.region.astype(np.int32)]})
    write_whole(path, lambda partial: meshio.write(partial, grid, file_format="vtu"))


def _point_data(nodes: SideField) -> dict[str, np.ndarray]:
    values = {"A_phi": nodes.A_phi, "B": np.column_stack([nodes.B_r, nodes.B_z, np.zeros_like(nodes.B_r)])}
    if not any(map(np.iscomplexobj, values.values())):
        return values
    return {f"{name} {kind}": part for name, value in values.items() for kind, part in (("real", value.real), ("imaginary", value.imag))}
