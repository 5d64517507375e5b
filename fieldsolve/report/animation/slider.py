"""The pictures behind the slider of a page: the scene of a movie at even times, small enough to stand in the page itself."""
from __future__ import annotations

import base64
import io
from dataclasses import dataclass
from typing import TYPE_CHECKING

from fieldsolve.report.animation.frames import frame_at, movie_times
from fieldsolve.report.animation.scene import colour_map, make_scene
from fieldsolve.report.display_units import MM, US
from fieldsolve.report.plots.motion import moved_parts
from fieldsolve.report.plots.styles import figures_for_files

if TYPE_CHECKING:
    from fieldsolve.shot.result.shot import Shot

PICTURES = 40
DPI = 80
HUES, GREYS = 96, 32    # colours of a picture: those of its scale, and from black to white
MOST_RADII = 2          # that are written below the picture


@dataclass(frozen=True)
class SliderPicture:
    """One place of the slider: what it says and shows, the image as data."""

    time: float
    words: str
    image: str


def slider_pictures(shot: Shot, quantity: str = "field", count: int = PICTURES) -> list[SliderPicture]:
    """The pictures, evenly spaced in time from the start of a shot to its end."""
    times = movie_times(shot, count)
    with figures_for_files():
        scene = make_scene(shot, quantity, times)
        palette = _palette(quantity)
        return [_picture(shot, scene, quantity, float(time), palette) for time in times]


def _picture(shot: Shot, scene, quantity: str, time: float, palette) -> SliderPicture:
    scene.show(frame_at(shot, quantity, time))
    return SliderPicture(time, words_at(shot, time), _small_image(scene.figure, palette))


def _palette(quantity: str):
    """A picture with the colours of all pictures: one palette, so that the scale of colours is the same in each."""
    import numpy as np
    from PIL import Image

    hues = (255 * colour_map(quantity)(np.linspace(0.0, 1.0, HUES))[:, :3]).round().astype(np.uint8)
    greys = np.repeat(np.linspace(0, 255, GREYS).round().astype(np.uint8)[:, None], 3, axis=1)
    palette = Image.new("P", (1, 1))
    palette.putpalette(np.concatenate([hues, greys]).tobytes())
    return palette


def words_at(shot: Shot, time: float) -> str:
    """Time and outer radii, straight between the stored instants as the metal of the picture is."""
    import numpy as np

    radii = [f"outer radius of {name} {MM * np.interp(time, shot.times, shot.series('outer_radius', name)):.3f} mm"
             for name in moved_parts(shot)[:MOST_RADII]]
    return ", ".join([f"{US * time:.2f} µs", *radii])


def _small_image(figure, palette) -> str:
    """A figure as data of a PNG with the colours of a palette."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from PIL import Image

    figure.set_dpi(DPI)
    canvas = FigureCanvasAgg(figure)
    canvas.draw()
    picture = Image.frombuffer("RGBA", canvas.get_width_height(), canvas.buffer_rgba()).convert("RGB")
    buffer = io.BytesIO()
    picture.quantize(palette=palette, dither=Image.Dither.NONE).save(buffer, format="PNG", optimize=True)
    return "data:image/png;base64," + base64.b64encode(buffer.getvalue()).decode()
