"""The file of a checkpoint: written complete or not at all, the one before kept beside it, and read back."""
from __future__ import annotations

import warnings
from collections.abc import Callable, Mapping
from dataclasses import asdict
from pathlib import Path
from typing import Any

from fieldsolve.errors import InputError
from fieldsolve.shot.checkpoint.checkpoint import Checkpoint
from fieldsolve.shot.checkpoint.packing import pack_checkpoint, unpack_checkpoint
from fieldsolve.shot.kept.container import Format, content_of, read_container, read_header, write_container

CHECKPOINT = Format("fieldsolve checkpoint", 1, "checkpoint", "fs.solve_shot(checkpoint=...) or `fieldsolve shot --checkpoint`",
                    packed=False)


def path_before(path: str | Path) -> Path:
    """Where the checkpoint before the last one is.

    >>> path_before("run.checkpoint.npz").name
    'run.checkpoint.before.npz'
    """
    return Path(path).with_suffix(f".before{Path(path).suffix}")


def write_checkpoint(path: Path, checkpoint: Checkpoint) -> list[str]:
    """Write a checkpoint and keep the one before; returns what of the problem is not in it, by name.

    Raises InputError where the run holds an object of a person's own class, which no file can hold; OSError where nothing can be written.
    """
    content, arrays, replaceable, lost = pack_checkpoint(checkpoint)
    if lost:
        raise InputError(f"checkpoint: the run holds {lost[0]}, which no file holds; solve without a checkpoint")
    state, origin = checkpoint.state, checkpoint.origin.text
    facts = {"case": origin and asdict(origin), "time": float(state.time), "end_time": float(checkpoint.setup.problem.end_time),
             "steps": len(checkpoint.entries) - 1, "of_companion": checkpoint.main is not None, "finished": checkpoint.is_finished,
             "not_kept": replaceable}
    write_container(path, content, arrays, facts, CHECKPOINT, path_before(path))
    return replaceable


def read_checkpoint(path: str | Path, makers: Mapping[str, Callable[..., Any]], given: Mapping[str, Any] | None = None) -> Checkpoint:
    """The last checkpoint, or where that cannot be read the one before, with a warning.

    makers  of the types of a kept shot
    given   what of the problem is not in the file, by name
    Raises InputError where there is none that can be read, and where something of the problem is neither in the file nor given.
    """
    path = Path(path)
    try:
        return _read(path, makers, given or {})
    except InputError as error:
        if not path_before(path).is_file():
            raise
        checkpoint = _read(path_before(path), makers, given or {})
        warnings.warn(f"{error}; the checkpoint before it, {path_before(path).name}, is taken", stacklevel=3)
        return checkpoint


def read_checkpoint_header(path: str | Path) -> dict[str, Any]:
    """The header of the last checkpoint, or where that cannot be read of the one before.

    Raises InputError where there is none that can be read.
    """
    try:
        return read_header(path, CHECKPOINT)
    except InputError:
        if not path_before(path).is_file():
            raise
        return read_header(path_before(path), CHECKPOINT)


def _read(path: Path, makers: Mapping[str, Callable[..., Any]], given: Mapping[str, Any]) -> Checkpoint:
    header, content, arrays = read_container(path, CHECKPOINT)
    with content_of(path, header, CHECKPOINT):
        missing = [entry for entry in header["not_kept"] if entry.rsplit(", ", 1)[0] not in given]
        if not missing:
            return unpack_checkpoint(content, arrays, makers, given)
    name = missing[0].rsplit(", ", 1)[0]
    raise InputError(f"{path.name}: does not hold {'; '.join(missing)}: give it, fs.resume_shot(path, given={{{name!r}: ...}})")
