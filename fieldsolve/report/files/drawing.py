"""A drawing as a file: PNG, PDF or SVG, with the program's name and version in it."""
from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from fieldsolve.files import write_atomically
from fieldsolve.files.provenance import WRITTEN_BY

if TYPE_CHECKING:
    from matplotlib.figure import Figure

AUTHOR_KEYS = {".png": "Software"}          # of a format's metadata; of the others "Creator"
DOTS_PER_INCH = 160


def write_drawing(figure: Figure, path: str | Path) -> None:
    """Write a matplotlib figure in the format of the suffix; a file that cannot be completed is not left there.

    Raises OSError where the folder cannot be written to.
    """
    key = AUTHOR_KEYS.get(Path(path).suffix.lower(), "Creator")
    write_atomically(path, lambda partial: figure.savefig(partial, dpi=DOTS_PER_INCH, metadata={key: WRITTEN_BY}))
