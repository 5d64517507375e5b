"""The mesher's field of cell sizes: the first guess around the shapes, and the sizes that a solved mesh requests."""
from __future__ import annotations

import math
from typing import Any

import numpy as np

from geometries import sizing
from geometries.drawing import Drawing
from geometries.grids import GridCells, outline_cells
from geometries.mapped import ThinZone
from geometries.parts import ZoneKey
from geometries.rows import Rows


def set_sizes(drawing: Drawing, sizes: sizing.CellSizes | None, scale: float, part_sizes: dict[str, float],
              thin: dict[ZoneKey, ThinZone], rows: dict[ZoneKey, Rows], grids: list[GridCells]) -> None:
    """Background field: smallest of the first guess and, the sizes that a solved mesh requests."""
    field = drawing.gmsh.model.mesh.field
    inner = drawing.air + [tag for surfaces in drawing.zone_surfaces.values() for tag in surfaces]
    zone_sizes = sizing.zone_cell_sizes(drawing.section, part_sizes)
    guesses = _guess_fields(drawing, scale, zone_sizes) + _end_fields(drawing, scale, part_sizes, zone_sizes, thin, rows)
    guesses += [field for cells in grids for field in _grid_fields(drawing, outline_cells(drawing, cells))]
    wanted = [_add(field, "Restrict", InField=_smallest(field, guesses + _requested_field(drawing, sizes, "interior")), SurfacesList=inner)]
    if drawing.exterior:
        cell = scale * drawing.radius / sizing.OUTER_CELLS
        constant = _add(field, "MathEval", F=f"{cell:.17g}")
        smallest = _smallest(field, [constant, *_requested_field(drawing, sizes, "exterior")])
        wanted += [_add(field, "Restrict", InField=smallest, SurfacesList=drawing.exterior)]
    field.setAsBackgroundMesh(_smallest(field, wanted))


def _guess_fields(drawing: Drawing, scale: float, zone_sizes: dict[ZoneKey, float]) -> list[int]:
    """One growing size field about the curves or points of each size."""
    model = drawing.gmsh.model
    groups: dict[float, tuple[list[int], list[int]]] = {}
    for key, size in zone_sizes.items():
        if drawing.section.part(key[0]).grid:
            continue
        surfaces = [(2, tag) for tag in drawing.zone_surfaces[key]]
        curves = [tag for _, tag in model.getBoundary(surfaces, combined=True, oriented=False)]
        groups.setdefault(size, ([], []))[0].extend(curves)
    for part in drawing.section.parts:
        if part.sheet:
            groups.setdefault(sizing.sheet_cell_size(part.sheet), ([], []))[0].extend(drawing.sheets[part.name])
        if part.filament:
            groups.setdefault(sizing.filament_cell_size(drawing.section, part), ([], []))[1].append(drawing.filaments[part.name])
    return [_growing(drawing, scale * size, scale * sizing.GROWTH, curves, points) for size, (curves, points) in groups.items()]


def _end_fields(drawing: Drawing, scale: float, part_sizes: dict[str, float], zone_sizes: dict[ZoneKey, float],
                thin: dict[ZoneKey, ThinZone], rows: dict[ZoneKey, Rows]) -> list[int]:
    """Size fields that grow from the end blocks of thin zones, from the rows next to them and from short pieces of their sides."""
    groups: dict[float, tuple[list[int], list[int]]] = {}
    for key, zone in thin.items():
        block = scale * sizing.end_cell_size(zone.thickness, part_sizes.get(key[0], math.inf), rows[key].count)
        outlines = {tag for _, tag in drawing.gmsh.model.getBoundary([(2, tag) for tag in zone.blocks], oriented=False)}
        borders = [curve for curve in zone.ends if curve.tag in outlines]
        groups.setdefault(block, ([], []))[0].extend(outlines - {curve.tag for curve in borders})
        groups.setdefault(rows[key].highest * zone.thickness, ([], []))[0].extend(curve.tag for curve in borders)
        groups.setdefault(rows[key].lowest * zone.thickness, ([], []))[1].extend(point for curve in borders for point in curve.points)
        for curve in (curve for side in zone.long_sides for curve in side if curve.length < zone_sizes[key]):
            groups.setdefault(float(f"{curve.length / sizing.SIDE_CELLS:.4g}"), ([], []))[0].append(curve.tag)
    return [_growing(drawing, size, sizing.END_GROWTH, *places) for size, places in groups.items() if any(places)]


def _grid_fields(drawing: Drawing, lengths: dict[int, float]) -> list[int]:
    """Size fields that grow from the curves around a part with a grid, from the length of the cells along them."""
    groups: dict[float, list[int]] = {}
    for curve, length in lengths.items():
        groups.setdefault(float(f"{length:.2g}"), []).append(curve)
    return [_growing(drawing, size, sizing.GROWTH, curves, []) for size, curves in groups.items()]


def _growing(drawing: Drawing, size: float, growth: float, curves: list[int], points: list[int]) -> int:
    field = drawing.gmsh.model.mesh.field
    longest = max((drawing.gmsh.model.occ.getMass(1, tag) for tag in curves), default=0.0)
    distance = _add(field, "Distance", CurvesList=curves, PointsList=points, Sampling=int(np.clip(longest / size, 4, 400)))
    largest = drawing.radius / 4 if drawing.radius else drawing.section.outer_radius / 4
    largest = max(largest, 1.001 * size)
    return _add(field, "Threshold", InField=distance, SizeMin=size, SizeMax=largest, DistMin=0.0, DistMax=(largest - size) / growth)


def _requested_field(drawing: Drawing, sizes: sizing.CellSizes | None, domain: str) -> list[int]:
    """Background field through the sizes that a solved mesh requests in the interior or the exterior domain, if any."""
    if sizes is None:
        return []
    corners, values = getattr(sizes, f"{domain}_corners"), getattr(sizes, f"{domain}_sizes")
    data = np.concatenate([corners[:, :, 0], corners[:, :, 1], np.zeros_like(values), values], axis=1)
    view = drawing.gmsh.view.add(domain)
    drawing.gmsh.view.addListData(view, "ST", len(data), data.ravel())
    return [_add(drawing.gmsh.model.mesh.field, "PostView", ViewTag=view)]


def _smallest(field: Any, tags: list[int]) -> int:
    return tags[0] if len(tags) == 1 else _add(field, "Min", FieldsList=tags)


def _add(field: Any, kind: str, **options: Any) -> int:
    tag = field.add(kind)
    for name, value in options.items():
        if isinstance(value, list):
            field.setNumbers(tag, name, value)
        elif isinstance(value, str):
            field.setString(tag, name, value)
        else:
            field.setNumber(tag, name, value)
    return tag
