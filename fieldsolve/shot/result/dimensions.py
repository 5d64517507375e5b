"""What a calliper measures on a flat body before and after a shot: its thickness at named places, its diameters."""
from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np

from fieldsolve.errors import InputError
from fieldsolve.estimate import Estimate
from fieldsolve.motion.plastic_flow.profile import RIM, SLICES, chords
from fieldsolve.shot.result.estimates import estimate
from fieldsolve.shot.result.shape_series import face_of
from geometries.keywords import known_keywords
from geometries.mesh import Mesh

RADII = 200             # at which the largest thickness is looked for


@known_keywords
@dataclass(frozen=True)
class Dimensions:
    """Dimensions of a flat body at one time, in metres; what a body with a hole has not is None.

    Parameters
    ----------
    body : str
        Name of the part.
    time : float
        Seconds.
    diameter_at_corners : Estimate
        Over the rim's edges, the mean of both faces' edges.
    diameter_at_middle : Estimate
        Of the rim half way between its edges: larger than over the corners where the rim bulges.
    largest_diameter : Estimate
        Over all.
    largest_thickness : Estimate
        Metal along z where there is most of it.
    largest_thickness_radius : float
        The radius where that is; no error bound is known, and where the body is flat the place means little.
    rim_thickness : Estimate
        Mean over the outer tenth of the radius.
    mid_radius_thickness : Estimate
        At half the largest radius.
    axis_thickness : Estimate or None
        At the axis; None where there is a hole.

    Examples
    --------
    >>> import fieldsolve as fs, geometries as geo
    >>> coil = geo.solenoid(turns=2, bore_radius=10.6e-3, wire_diameter=3e-3, pitch=3.3e-3, material=fs.material("copper"))
    >>> disc = geo.disc(radius=10e-3, thickness=2e-3, material=fs.material("aluminium 1100-O"))
    >>> bank = fs.Bank(capacitance=120e-6, voltage=2e3, inductance=300e-9)
    >>> shot = fs.solve_shot(geo.CrossSection([coil, disc]), bank, end_time=5e-6, accuracy=3e-2, error_bounds=False)
    >>> round(float(shot.dimensions("disc", 0.0).largest_diameter), 6)
    0.02
    """

    body: str
    time: float
    diameter_at_corners: Estimate
    diameter_at_middle: Estimate
    largest_diameter: Estimate
    largest_thickness: Estimate
    largest_thickness_radius: float
    rim_thickness: Estimate
    mid_radius_thickness: Estimate
    axis_thickness: Estimate | None

    def __repr__(self) -> str:
        return (f"Dimensions({self.body!r} at {self.time:.6g} s, diameter {self.largest_diameter:.5g} m, "
                f"largest thickness {self.largest_thickness:.5g} m)")


def has_dimensions(shot, name: str) -> bool:
    """Whether a part is a flat body that moved, as one that has a crown is."""
    return ("crown_height", name) in shot.history.values


def body_dimensions(shot, name: str, time: float | None = None) -> Dimensions:
    """What a calliper measures on a flat body at the stored instant nearest to `time` in seconds, at the end by default.

    Raises InputError for what is no flat body that moved.
    """
    shot.section.part(name)
    if not has_dimensions(shot, name):
        raise InputError(f"dimensions of {name}: it is no flat body that moved; `shot.profile` gives the outline of any part")
    time = float(shot.times[-1] if time is None else time)
    measured = cache(lambda run: _measured(run, name, time))
    found = {key: estimate(shot, lambda run, key=key: measured(run)[key], "m") for key in measured(shot)}
    place = float(found["largest_thickness_radius"])
    return Dimensions(name, time, **{"axis_thickness": None} | found | {"largest_thickness_radius": place})


def _measured(run, name: str, time: float) -> dict[str, float]:
    """The numbers, by name, of one run."""
    part = run.section.part(name)
    k = int(np.abs(run.times - time).argmin())
    rim = face_of(part, [run.instants[0], run.instants[k]], 0, part.bounds[1]).positions[1]
    cells = _cells(run.instants[k].mesh, name)
    inner, outer = float(cells[:, :, 0].min()), float(cells[:, :, 0].max())
    radius = inner + (outer - inner) * (np.arange(RADII) + 0.5) / RADII
    thickness = chords(cells, radius)
    slices = outer * (1 - RIM + RIM * (np.arange(SLICES) + 0.5) / SLICES)
    at_middle, *at_rim = chords(cells, np.array([outer / 2, *slices]))
    at_axis = {"axis_thickness": float(chords(cells, np.array([1e-9 * outer]))[0])} if part.bounds[0] == 0 else {}
    return {
        "diameter_at_corners": float(rim[0, 0] + rim[-1, 0]), "diameter_at_middle": 2 * float(rim[len(rim) // 2, 0]),
        "largest_diameter": 2 * outer, "largest_thickness": float(thickness.max()),
        "largest_thickness_radius": float(radius[thickness.argmax()]), "rim_thickness": float(np.mean(at_rim)),
        "mid_radius_thickness": float(at_middle), **at_axis,
    }


def _cells(mesh: Mesh, name: str) -> np.ndarray:
    """Corners (m, 3, 2) in m of the triangles of a part."""
    return mesh.nodes[mesh.triangles[mesh.part_triangles(name), :3]]
