"""Motion of a shot's metal: profiles at any time, values at a camera's frames, departures; the inductance that the bank sees."""
from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from fieldsolve.motion.plastic_flow.profile import chords
from fieldsolve.renamed import old_attributes
from fieldsolve.shot.history import bracket
from geometries.errors import InputError
from geometries.mesh import Mesh

PERIMETER_ORDER = [0, 3, 1, 4, 2, 5]     # nodes once round a triangle
MOST_FRAMES = 10_000            # of a camera in one shot
PROFILE_POINTS = 100                     # radii of a profile
MIN_CURRENT_AFTER_PEAK = 0.3                    # of its peak: with less current behind the peak flux over current says nothing of the coil
MIN_CURRENT_BEFORE_PEAK = 0.02                    # of its peak: the same before it
MAX_EXTRAPOLATION = 100                  # times the shot's length, beyond which a body that moves so slowly is not said to leave


@dataclass(frozen=True, eq=False)
class Profile:
    """The section of a part at one time.

    time       seconds
    outlines   closed polygons (n, 2) of r and z in m, one a zone
    radius     (k,) m, from the smallest to the largest
    thickness  (k,) metal along z at these radii, m
    """

    time: float
    outlines: tuple[np.ndarray, ...]
    radius: np.ndarray
    thickness: np.ndarray

    def __repr__(self) -> str:
        return f"Profile({self.time:.6g} s, {len(self.outlines)} outlines, thickness at {len(self.radius)} radii)"


@dataclass(frozen=True)
class Departure:
    """When the middle of a body passes an end face of the coil.

    time          seconds
    speed         along z in m/s
    extrapolated  whether it passes after the end of the shot, at the speed it ends with
    """

    time: float
    speed: float
    extrapolated: bool

    __getattr__ = old_attributes("Departure")


def section_profile(shot, name: str, time: float) -> Profile:
    """The section of a part at `time`, straight between the stored instants before and after it."""
    shot.section.part(name)
    check_time(shot, time)
    k_before, k_after, share = bracket(shot.times, time)
    before, after = shot.instants[k_before].mesh, shot.instants[k_after].mesh
    triangles = [before.nodes[b][:, PERIMETER_ORDER] * (1 - share) + after.nodes[a][:, PERIMETER_ORDER] * share
                 for b, a in zip(_zones(before, name), _zones(after, name), strict=True)]
    corners = np.concatenate(triangles)
    inner, outer = corners[:, :, 0].min(), corners[:, :, 0].max()
    radius = inner + (outer - inner) * (np.arange(PROFILE_POINTS) + 0.5) / PROFILE_POINTS
    outlines = tuple(loop for zone, corner in zip(_zones(after, name), triangles, strict=True) for loop in _outlines(zone, corner))
    return Profile(float(time), outlines, radius, chords(corners, radius))


def check_frame_count(rate: float, duration: float) -> None:
    """Refuse a camera that takes more frames in the seconds of a shot than anybody looks at: InputError."""
    if rate * duration > MOST_FRAMES:
        raise InputError(f"rate = {rate:g} Hz: makes {rate * duration:.3g} frames in {duration:g} s, above the limit of {MOST_FRAMES}; "
                         "give a slower camera")


def sample_frames(shot, rate: float, quantity: str, place: str, first: float) -> tuple[np.ndarray, np.ndarray]:
    """(times in s, values) of a series at the frames of a camera of `rate` frames a second, the first at `first`."""
    from scipy.interpolate import PchipInterpolator

    if not (math.isfinite(rate) and rate > 0):
        raise InputError(f"rate = {rate!r}: give the camera's frames a second, a finite number above 0 such as 1e6")
    check_time(shot, first)
    check_frame_count(rate, float(shot.times[-1]) - first)
    times = first + np.arange(int((shot.times[-1] - first) * rate * (1 + 1e-12)) + 1) / rate
    values = shot.series(quantity, place)
    return times, PchipInterpolator(shot.times, values)(times) if len(values) > 1 else np.full(len(times), values[0])


def find_departure(shot, name: str, coil: str) -> Departure | None:
    """When the middle of a body along z passes an end face of a coil; None where it stays, is too slow to tell, or never was within."""
    if ("lowest", name) not in shot.history.values:
        shot.section.part(name)
        return None
    low, high = (_end_face(shot, coil, quantity) for quantity in ("lowest", "highest"))
    middle = 0.5 * (shot.series("lowest", name) + shot.series("highest", name))
    outside = np.flatnonzero((middle < low) | (middle > high))
    if len(outside) and outside[0] == 0:
        return None
    if len(outside):
        k, above = int(outside[0]), bool(middle[outside[0]] > high[outside[0]])
        gap = (middle - high if above else low - middle)[k - 1:k + 1]
        time = float(np.interp(0.0, gap, shot.times[k - 1:k + 1]))
        return Departure(time, float(np.interp(time, shot.times, np.gradient(middle, shot.times))), False)
    speed = _final_speed(shot, name)
    distance = (high[-1] if speed > 0 else low[-1]) - middle[-1]
    if speed == 0 or distance / speed > MAX_EXTRAPOLATION * shot.times[-1]:
        return None
    return Departure(float(shot.times[-1] + distance / speed), speed, True)


def flux_over_current(shot) -> tuple[np.ndarray, np.ndarray]:
    """(times in s, henry) of all coils as the bank sees them: flux linkage over current, without the leads.

        L = sum over coils of (flux I) / I_total^2
    Instants with little current are left out: eddy currents leave flux where no current flows.  Of a loop, whose flux is infinite, all.
    """
    if any(("flux", name) not in shot.history.values for name in shot.coils):
        return np.empty(0), np.empty(0)
    network = shot.network
    total = sum(shot.series("current", branch[0]) for branch in network.branches)
    power = sum(shot.series("flux", name) * shot.series("current", name) for name in shot.coils)
    peak, rising = np.abs(total).max(), shot.times < shot.times[np.abs(total).argmax()]
    enough = np.abs(total) > np.where(rising, MIN_CURRENT_BEFORE_PEAK, MIN_CURRENT_AFTER_PEAK) * peak
    return shot.times[enough], power[enough] / total[enough]**2


def validity_limit(shot) -> tuple[float | None, str]:
    """Seconds from which on a shot is beyond the model, and why; (None, "") where it stays within it."""
    ends = [(burst.time, "a turn may have burst, treat the bank as charged") for name in shot.coils if (burst := shot.burst(name))]
    imbalance_time = shot.energy.imbalance_time(shot.accuracy)
    ends += [(imbalance_time, "the energy balance is lost")] if imbalance_time is not None else []
    return min(ends, default=(None, ""))


def nearest_instant(shot, time: float) -> int:
    """Number of the stored instant nearest to a time in seconds.  Raises InputError outside the shot."""
    check_time(shot, time)
    return int(np.abs(shot.times - time).argmin())


def check_time(shot, time: float) -> None:
    """Refuse a time outside the shot: InputError."""
    if not 0 <= time <= shot.times[-1] * (1 + 1e-9):
        raise InputError(f"time = {time:g} s is outside the shot, which runs from 0 to {shot.times[-1]:g} s")


def _zones(mesh: Mesh, name: str) -> list[np.ndarray]:
    """Nodes (k, 6) of the triangles of each zone of a part."""
    return [mesh.triangles[numbers] for numbers in mesh.zone_triangles(name)]


def _outlines(triangles: np.ndarray, corners: np.ndarray) -> list[np.ndarray]:
    """Closed lines of points (n, 2) round the triangles (k, 6), whose nodes stand at corners (k, 6, 2) in the order `PERIMETER_ORDER`."""
    places = dict(zip(triangles[:, PERIMETER_ORDER].ravel().tolist(), corners.reshape(-1, 2), strict=True))
    edges = np.concatenate([triangles[:, [a, middle, b]] for a, middle, b in ((0, 3, 1), (1, 4, 2), (2, 5, 0))]).tolist()
    inner = _repeated([middle for _, middle, _ in edges])
    following = {a: (middle, b) for a, middle, b in edges if middle not in inner}
    loops = []
    while following:
        node, path = min(following), []
        while node in following:
            middle, after = following.pop(node)
            path += [places[node], places[middle]]
            node = after
        loops.append(np.array(path))
    return loops


def _repeated(numbers: list[int]) -> set[int]:
    """Numbers that occur more than once."""
    found, count = np.unique(numbers, return_counts=True)
    return set(found[count > 1].tolist())


def _end_face(shot, coil: str, quantity: str) -> np.ndarray:
    """z of a coil's lower or upper end face over the shot's times, where it is held that of its first place."""
    if (quantity, coil) in shot.history.values:
        return shot.series(quantity, coil)
    _, _, low, high = shot.section.part(coil).bounds
    return np.full(len(shot.times), low if quantity == "lowest" else high)


def _final_speed(shot, name: str) -> float:
    """Speed along z in m/s that a body ends with."""
    if ("axial_speed", name) in shot.history.values:
        return float(shot.series("axial_speed", name)[-1])
    return float(shot.series("speed", name)[-1]) if ("height", name) in shot.history.values else 0.0
