"""A shot that was stopped, gone on with from its last checkpoint."""
from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

from fieldsolve.shot.checkpoint.checkpoint import Checkpoint
from fieldsolve.shot.checkpoint.file import read_checkpoint
from fieldsolve.shot.checkpoint.keeper import Keeper
from fieldsolve.shot.load import MAKERS
from fieldsolve.shot.result.shot import Shot
from fieldsolve.shot.solve import go_on
from geometries.errors import SolveError
from geometries.keywords import known_keywords


@known_keywords
def resume_shot(path: str | Path, *, progress: Callable[[float], None] | None = None, checkpoint: str | Path | None = None,
                given: Mapping[str, Any] | None = None) -> Shot:
    """Go on with a shot from the checkpoint that `solve_shot` has kept, to the same result, to the last bit, as if nothing had stopped it.

    That holds with the same versions of the packages and the same kind of processor.  Where the last checkpoint cannot be read, the one
    before is taken, with a warning.

    Parameters
    ----------
    path : str or Path
        The checkpoint.
    progress : callable, optional
        Called with the time in seconds after each step.
    checkpoint : str or Path, optional
        Where the run is kept from now on; by default in the same file.
    given : mapping of str to object, optional
        What of the shot's arguments the file does not hold because it is code, such as a waveform of a person's own, by the names that
        the error without it gives.

    Returns
    -------
    Shot
        As from `solve_shot`; of a shot that was finished the same result, without another step.

    Raises
    ------
    InputError
        Where there is no checkpoint that can be read, or something that it does not hold is not given.
    SolveError
        As `solve_shot`.

    Examples
    --------
    >>> import tempfile, pathlib
    >>> import fieldsolve as fs, geometries as geo
    >>> coil = geo.solenoid(turns=4, bore_radius=15.6e-3, wire_diameter=3e-3, pitch=3.3e-3, material=fs.material("copper"))
    >>> bank = fs.Bank(capacitance=120e-6, voltage=1e3, inductance=300e-9)
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     kept = pathlib.Path(folder, "first.checkpoint.npz")
    ...     shot = fs.solve_shot(geo.CrossSection([coil]), bank, end_time=5e-6, motion=False, accuracy=3e-2, checkpoint=kept)
    ...     resume_shot(kept).peak("current", "coil") == shot.peak("current", "coil")
    True
    """
    kept = read_checkpoint(path, MAKERS, given)
    return _go_on(kept, progress, Keeper(checkpoint or path, kept.origin))


def _go_on(kept: Checkpoint, progress: Callable[[float], None] | None, keeper: Keeper) -> Shot:
    """The shot of a checkpoint with the case that it came from."""
    origin = kept.origin
    try:
        shot = go_on(kept, progress, keeper)
    except SolveError as error:
        error.partial = replace(error.partial, case=origin.text) if isinstance(error.partial, Shot) else None
        raise
    return replace(shot, case=origin.text, fixed_parts={**shot.fixed_parts, **origin.fixed_parts})
