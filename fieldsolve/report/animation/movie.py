"""A shot as a movie: matplotlib's own animation, which plays in a notebook, and a file of it."""
from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from fieldsolve.errors import InputError
from fieldsolve.files import write_atomically
from fieldsolve.report.animation.frames import frame_at, movie_times
from fieldsolve.report.animation.scene import make_scene
from fieldsolve.report.plots.styles import figures_for_files
from geometries.keywords import known_keywords

if TYPE_CHECKING:
    from fieldsolve.shot.result.shot import Shot

FRAMES = 60
RATE = 12               # frames a second: a shot of 60 frames lasts five seconds
DPI = 100
WRITERS = {".gif": "pillow", ".mp4": "ffmpeg"}


@known_keywords
def animate(shot: Shot, quantity: str = "field", frames: int = FRAMES):
    """The shot in motion: its section with blank and turns, one quantity in colour, and the traces with a cursor.

    Parameters
    ----------
    shot : Shot
    quantity : str, optional
        "field" (|B| and flux lines), "current" (|J| in the metal) or "temperature".
    frames : int, optional
        Pictures, evenly spaced in time from the start to the end.

    Returns
    -------
    matplotlib.animation.FuncAnimation
        A notebook plays it by `HTML(animation.to_jshtml())`; `animation.save(path)` writes it.

    Raises
    ------
    InputError
        For a quantity that is not known, one that the shot does not have, or fewer than 2 frames.

    Examples
    --------
    >>> import fieldsolve as fs, geometries as geo
    >>> coil = geo.solenoid(turns=4, bore_radius=15.6e-3, wire_diameter=3e-3, pitch=3.3e-3, material=fs.material("copper"))
    >>> bank = fs.Bank(capacitance=120e-6, voltage=1e3, inductance=300e-9)
    >>> shot = fs.solve_shot(geo.CrossSection([coil]), bank, end_time=5e-6, motion=False, accuracy=3e-2)
    >>> animation = shot.animate(frames=2)
    >>> animation.save("shot.gif")                                                          # doctest: +SKIP
    """
    from matplotlib.animation import FuncAnimation

    if quantity == "temperature" and shot.heated_metal is None:
        raise InputError("quantity = 'temperature': nothing heats in this shot; take 'field' or 'current', or solve it with heating=True")
    times = movie_times(shot, frames)
    scene = make_scene(shot, quantity, times)
    return FuncAnimation(scene.figure, lambda time: scene.show(frame_at(shot, quantity, float(time))), frames=times,
                         interval=1000 / RATE, blit=False, repeat=True, cache_frame_data=False)


def write_movie(shot: Shot, path: str | Path, quantity: str = "field", frames: int = FRAMES,
                progress: Callable[[int, int], None] | None = None) -> None:
    """Write the movie of a shot: .gif, or .mp4 where ffmpeg is installed.

    progress  called with the number of the picture drawn and how many there are
    Raises InputError for another suffix, or where the program that writes such a file is missing.
    """
    path = Path(path)
    writer = checked_writer(path)
    with figures_for_files():
        animation = animate(shot, quantity, frames)
        write_atomically(path, lambda partial: animation.save(partial, writer=writer, fps=RATE, dpi=DPI, progress_callback=progress))


def checked_writer(path: Path) -> str:
    """The writer of matplotlib for a file's suffix.  Raises InputError with the remedy."""
    from matplotlib.animation import writers

    if path.suffix not in WRITERS:
        raise InputError(f"movie {path.name}: a movie ends in {' or '.join(WRITERS)}")
    if not writers.is_available(WRITERS[path.suffix]):
        raise InputError(f"movie {path.name}: {WRITERS[path.suffix]} is not installed, which writes {path.suffix}; "
                         "install it, or write a .gif")
    return WRITERS[path.suffix]


