"""A shot written to a file that `fieldsolve.shot.load` reads."""
from __future__ import annotations

import warnings
from dataclasses import asdict
from pathlib import Path
from typing import Any

from fieldsolve.pickling import declared_fields
from fieldsolve.shot.kept.container import write_container
from fieldsolve.shot.kept.encoding import Encoder
from fieldsolve.shot.kept.mesh_nodes import pack_mesh
from geometries.mesh import Mesh


def save_shot(shot, path: str | Path) -> None:
    """Keep the shot in one file, complete or not at all, for `load_shot` to read; OSError where the folder cannot be written to.

    The file is a zip of a JSON header and numpy arrays, without pickle; by custom its name ends in .shot.npz.  What cannot be kept,
    functions of a person's own, is named in the header and in a warning; only a refined run needs it.
    """
    encoder = Encoder({type(shot): _pack_shot, Mesh: pack_mesh})
    content = {"shot": encoder.encode(shot, "shot"), "objects": encoder.objects}
    facts = {"shot": repr(shot), "case": shot.case and asdict(shot.case), "not_kept": encoder.lost}
    write_container(path, content, encoder.arrays, facts)
    if encoder.lost:
        warnings.warn(f"{Path(path).name} does not hold {'; '.join(encoder.lost)}: only computing anew needs it", stacklevel=3)


def _pack_shot(shot) -> dict[str, Any]:
    """Fields of a shot but its solver, which is code, and its case, which stands in the header."""
    return {name: value for name, value in declared_fields(shot).items() if name not in ("solver", "case")}
