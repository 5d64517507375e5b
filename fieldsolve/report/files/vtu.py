"""Fields on their meshes as .vtu files of quadratic triangles; of a shot one file an instant."""
from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from fieldsolve.errors import InputError
from fieldsolve.field.plottable_field import PlottableCurrents, PlottableField, PlottableSweep
from fieldsolve.files import write_atomically
from fieldsolve.files.provenance import WRITTEN_BY
from fieldsolve.materials.thermal import ROOM_TEMPERATURE
from fieldsolve.report.files.suffix import check_suffix
from fieldsolve.report.sampling.two_sided_field import TwoSidedField, two_sided_current_density, two_sided_field, visible_triangles
from fieldsolve.units import display
from geometries.keywords import known_keywords

if TYPE_CHECKING:
    from fieldsolve.shot.result.metal_history import MetalMap
    from fieldsolve.shot.result.shot import Shot

ANGLES = 48             # steps of a solid of revolution


def write_vtu(field: PlottableField | PlottableSweep, path: str | Path, cells: dict[str, np.ndarray] | None = None) -> None:
    """Write a field on its mesh; a file that cannot be completed is not left there.

    points      (r, z, 0) in metres; a point on a border of metal is there once for each side, since B may jump
    cells       'triangle6': corners, then the middles of edges 0-1, 1-2, 2-0; the meshed room only, not the open space around it
    point data  A_phi [Wb/m]; B [T] with components r, z and 0, averaged over the cells of one side
                at a frequency `A_phi real`, `A_phi imaginary`, `B real`, `B imaginary`, and so J_phi [A/m^2], zero outside metal;
                of a sweep each with its frequency, as in `B real, 10 kHz`; of a shot's instant J_phi too
    cell data   region: 0 for air, k + 1 for zone k of the metal, whose part is `field.mesh.regions[k]`; and `cells`, values (m,) by name
                in the triangles of the field's mesh
    Raises InputError for a suffix other than .vtu, OSError where the folder cannot be written to.
    """
    import meshio

    check_suffix("mesh file", path, (".vtu",))
    fields = _fields_by_suffix(field)
    triangles = visible_triangles(fields[0][1].mesh)
    data: dict[str, np.ndarray] = {}
    for suffix, single_field in fields:
        nodes = two_sided_field(single_field, triangles)
        data |= _point_data(single_field, triangles, nodes, suffix)
    grid = meshio.Mesh(np.column_stack([nodes.r, nodes.z, np.zeros_like(nodes.r)]), [("triangle6", nodes.places)],
                       point_data=data, cell_data={"region": [nodes.region.astype(np.int32)]}
                       | {name: [values[triangles]] for name, values in (cells or {}).items()})

    def write(partial: Path) -> None:
        meshio.write(partial, grid, file_format="vtu")
        with partial.open("a", encoding="utf-8") as file:
            file.write(f"<!-- {WRITTEN_BY} -->\n")
    write_atomically(path, write)


def _fields_by_suffix(field: PlottableField | PlottableSweep) -> list[tuple[str, PlottableField]]:
    """Each field with what its names of point data end in: of several fields the frequency."""
    if not isinstance(field, PlottableSweep):
        return [("", field)]
    if len(field.fields) == 1:
        return [("", field.fields[0])]
    return [(f", {display(frequency, 'Hz', 6)}", one) for frequency, one in zip(field.frequencies, field.fields, strict=True)]


def _point_data(field: PlottableField, triangles: np.ndarray, nodes: TwoSidedField, suffix: str) -> dict[str, np.ndarray]:
    """Values at the places by name; phasors in two parts, with `suffix` behind their names."""
    values = {"A_phi": nodes.A_phi, "B": np.column_stack([nodes.B_r, nodes.B_z, np.zeros_like(nodes.B_r)])}
    if isinstance(field, PlottableCurrents):
        values["J_phi"] = two_sided_current_density(field, triangles).J_phi
    if not any(map(np.iscomplexobj, values.values())):
        return values
    return {f"{name} {kind}{suffix}": part for name, value in values.items()
            for kind, part in (("real", value.real), ("imaginary", value.imag))}


def _cell_data(metal: MetalMap) -> dict[str, np.ndarray]:
    """Temperature, plastic share of the heat and plastic strain in all triangles (m,) of a mesh."""
    def fill_mesh(values: np.ndarray, elsewhere: float) -> np.ndarray:
        everywhere = np.full(len(metal.mesh.triangles), elsewhere)
        everywhere[metal.triangles] = values
        return everywhere
    return {"temperature": fill_mesh(metal.temperature, ROOM_TEMPERATURE), "plastic_heat_share": fill_mesh(metal.plastic_heat_share, 0.0),
            "plastic_strain": fill_mesh(metal.plastic_strain, 0.0)}


@known_keywords
def write_vtu_series(shot: Shot, directory: str | Path, every: int = 1, *, revolved: bool = False) -> list[Path]:
    """Write the field at stored instants of a shot as shot_0000.vtu, shot_0001.vtu, ... into a folder; returns the paths.

    Beside the field each holds the metal's temperature [K], plastic share of the heat and plastic strain by cell; air is at 293.15 K.
    `shot.pvd` names the files with their times for viewers that play a series.

    Parameters
    ----------
    shot : Shot
    directory : str or Path
        Made where it is missing; `index.txt` in it, written last, names each file's time in seconds.
    every : int
        Every how many instants one is written, from the first on; the last is always written.
    revolved : bool, optional
        True: the metal alone, turned about the axis into solids with the same values by cell, without the field.

    Returns
    -------
    list of Path

    Raises
    ------
    InputError
        For an `every` that is not a positive whole number.
    OSError
        Where the folder cannot be written to.

    Examples
    --------
    >>> import fieldsolve as fs, geometries as geo
    >>> coil = geo.solenoid(turns=4, bore_radius=15.6e-3, wire_diameter=3e-3, pitch=3.3e-3, material=fs.material("copper"))
    >>> bank = fs.Bank(capacitance=120e-6, voltage=1e3, inductance=300e-9)
    >>> shot = fs.solve_shot(geo.CrossSection([coil]), bank, end_time=5e-6, motion=False, accuracy=3e-2)
    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     [path.name for path in write_vtu_series(shot, folder, every=1000)]
    ['shot_0000.vtu', 'shot_0001.vtu']
    """
    if not isinstance(every, int) or isinstance(every, bool) or every < 1:
        raise InputError(f"every = {every!r}: give a positive whole number: every how many instants one is written")
    directory = Path(directory)
    directory.mkdir(parents=True, exist_ok=True)
    last = len(shot.times) - 1
    instants = [*range(0, last, every), last]
    paths = [directory / f"shot_{number:04d}.vtu" for number in range(len(instants))]
    for k, path in zip(instants, paths, strict=True):
        time = float(shot.times[k])
        if revolved:
            write_solids(shot.metal_at(time), path)
        else:
            write_vtu(shot.field_at(time), path, _cell_data(shot.metal_at(time)))
    _write_collection(directory / "shot.pvd", paths, [float(shot.times[k]) for k in instants])
    lines = ["# file  time [s]", *(f"{path.name}  {shot.times[k]:.9g}" for k, path in zip(instants, paths, strict=True))]
    write_atomically(directory / "index.txt", lambda partial: partial.write_text("\n".join(lines) + "\n", encoding="utf-8"))
    return paths


def write_solids(metal: MetalMap, path: str | Path) -> None:
    """Write the metal at one instant as solids of revolution: a wedge for each triangle and step of the angle, (x, y, z) in metres.

    cell data   temperature [K], plastic_heat_share, plastic_strain, strain_rate [1/s], and region as in `write_vtu`
    """
    import meshio

    corners, numbers = np.unique(metal.mesh.triangles[metal.triangles][:, :3], return_inverse=True)
    angle = np.linspace(0.0, 2 * np.pi, ANGLES, endpoint=False)
    r, z = metal.mesh.nodes[corners].T
    points = np.stack([r * np.cos(angle)[:, None], r * np.sin(angle)[:, None], np.broadcast_to(z, (ANGLES, len(z)))], axis=-1)
    numbers = numbers.reshape(-1, 3)
    first = numbers + len(corners) * np.arange(ANGLES)[:, None, None]
    wedges = np.concatenate([first, np.roll(first, -1, axis=0)], axis=-1).reshape(-1, 6)
    values = {"temperature": metal.temperature, "plastic_heat_share": metal.plastic_heat_share, "plastic_strain": metal.plastic_strain,
              "strain_rate": metal.strain_rate, "region": metal.mesh.region[metal.triangles].astype(np.int32)}
    grid = meshio.Mesh(points.reshape(-1, 3), [("wedge", wedges)],
                       cell_data={name: [np.tile(each, ANGLES)] for name, each in values.items()})
    write_atomically(path, lambda partial: meshio.write(partial, grid, file_format="vtu"))


def _write_collection(path: Path, files: list[Path], times: list[float]) -> None:
    """The list of a series' files with their times in s, in XML."""
    entries = [f'    <DataSet timestep="{time:.9g}" file="{file.name}"/>' for file, time in zip(files, times, strict=True)]
    text = "\n".join(['<?xml version="1.0"?>', '<VTKFile type="Collection" version="0.1">', "  <Collection>", *entries, "  </Collection>",
                      "</VTKFile>"])
    write_atomically(path, lambda partial: partial.write_text(text + "\n", encoding="utf-8"))
