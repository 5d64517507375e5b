"""What the circles of the model leave out of a coil and its leads: the pitch of a helix, the way back of its wire, the leads' loop.

Neumann's integral over thin wires, each as its polygon, with the geometric mean distance g of the wire's section from itself:

    L = mu_0 / 4 pi  double integral of  ds . ds' / sqrt(|r - r'|^2 + g^2),     g = a exp(-1/4) for a round wire of radius a

Source: F. W. Grover, Inductance Calculations (1946), chapters 1 to 3 (from memory).
"""
from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from fieldsolve.circuit.bank import Leads, plate_inductance, wire_inductance
from fieldsolve.constants import MU_0
from geometries.parts import Part

SIDES = 96                 # of a turn's polygon
MOST_SEGMENTS = 20_000     # of a wire in all; with more turns each has fewer sides
GAUSS = (-1 / math.sqrt(3), 1 / math.sqrt(3))
ROWS = 500                 # segments whose integrals are taken at once


@dataclass(frozen=True)
class ModelTerm:
    """An inductance in series that the computed shot leaves out: what it is, and henry."""

    name: str
    inductance: float


def model_terms(coils: tuple[Part, ...], leads: Leads) -> tuple[ModelTerm, ...]:
    """The terms that can be computed of coils and leads."""
    found = [ModelTerm(f"helix of {coil.name} with its wire led back", helix_excess(coil)) for coil in coils if is_helix(coil)]
    return (*found, *_leads_term(leads))


def is_helix(coil: Part) -> bool:
    """Whether a coil is one wire in one layer or one plane, of at least two turns."""
    radii, heights = {round(r, 9) for r, _ in _centres(coil)}, {round(z, 9) for _, z in _centres(coil)}
    return coil.shape in ("solenoid", "spiral") and len(coil.zones) > 1 and min(len(radii), len(heights)) == 1


def helix_excess(coil: Part) -> float:
    """Inductance in henry of a helix or spiral, closed by a straight wire back along it, less that of its turns as closed circles.

    The wire back is two wire's widths from the turns, over the outside of a solenoid and over the face of a spiral: an assumption.
    """
    sides = max(12, min(SIDES, MOST_SEGMENTS // len(coil.zones)))
    distance = _mean_distance(coil)
    rings = np.concatenate([_segments(_circle(r, z, sides)) for r, z in _centres(coil)])
    return neumann(_segments(_helix(coil, sides)), distance) - neumann(rings, distance)


def neumann(segments: np.ndarray, distance: float) -> float:
    """Neumann's integral in henry over straight segments (n, 2, 3) in metres, all of one current.

    The integral along the one segment is exact, along the other by two Gauss points.
    """
    start, step = segments[:, 0], segments[:, 1] - segments[:, 0]
    length = np.linalg.norm(step, axis=1)
    unit, middle = step / length[:, None], start + 0.5 * step
    total = 0.0
    for first in range(0, len(segments), ROWS):
        rows = slice(first, first + ROWS)
        cosines = (unit[rows] @ unit.T) * length[rows, None]
        for point in GAUSS:
            away = middle[rows, None] + (0.5 * point * step[rows])[:, None] - middle[None]
            along = np.einsum("ijk,jk->ij", away, unit)
            across = np.sqrt(np.maximum(np.einsum("ijk,ijk->ij", away, away) - along**2, 0.0) + distance**2)
            integral = np.arcsinh((0.5 * length - along) / across) + np.arcsinh((0.5 * length + along) / across)
            total += 0.5 * float(np.sum(cosines * integral))
    return MU_0 / (4 * math.pi) * total


def _leads_term(leads: Leads) -> Iterator[ModelTerm]:
    """The leads' inductance from their shape, where the case gives that and no inductance."""
    if leads.inductance or leads.length is None or leads.spacing is None:
        return
    if leads.width is not None:
        yield ModelTerm("loop of the leads", plate_inductance(leads.length, leads.width, leads.spacing))
    elif leads.wire_diameter is not None:
        yield ModelTerm("loop of the leads", wire_inductance(leads.length, leads.spacing, leads.wire_diameter))


def _centres(coil: Part) -> list[tuple[float, float]]:
    """(r, z) of the middle of each turn."""
    boxes = [zone.outline.bounds for zone in coil.zones]
    return [(0.5 * (box[0] + box[1]), 0.5 * (box[2] + box[3])) for box in boxes]


def _mean_distance(coil: Part) -> float:
    """Geometric mean distance of the wire's section from itself, that of the round wire of equal area."""
    return math.sqrt(coil.zones[0].outline.area / math.pi) * math.exp(-0.25)


def _circle(r: float, z: float, sides: int) -> np.ndarray:
    angle = np.linspace(0.0, 2 * math.pi, sides + 1)
    return np.column_stack([r * np.cos(angle), r * np.sin(angle), np.full(sides + 1, z)])


def _helix(coil: Part, sides: int) -> np.ndarray:
    """Closed line: turn k goes round from half a pitch before its middle to half a pitch behind it, then straight back."""
    centres = np.array(_centres(coil))
    turn = np.linspace(-0.5, len(centres) - 0.5, len(centres) * sides + 1)
    number = np.arange(len(centres))
    pitch = (centres[-1] - centres[0]) / (len(centres) - 1)
    r, z = (np.interp(turn, number, centres[:, k]) + pitch[k] * (np.minimum(turn, 0.0) + np.maximum(turn - number[-1], 0.0))
            for k in (0, 1))
    angle = 2 * math.pi * (turn + 0.5)
    wire = np.column_stack([r * np.cos(angle), r * np.sin(angle), z])
    r_min, r_max, z_min, z_max = coil.zones[0].outline.bounds
    aside = np.array([2 * (r_max - r_min), 0.0, 0.0] if coil.shape == "solenoid" else [0.0, 0.0, 2 * (z_max - z_min)])
    back = [wire[-1] + aside, wire[0] + aside, wire[0]]
    return np.vstack([wire, *_divided(wire[-1], back, 2 * math.pi * float(np.mean(r)) / sides)])


def _divided(start: np.ndarray, corners: list[np.ndarray], longest: float) -> Iterator[np.ndarray]:
    """Points of the straight lines from `start` over the corners, in pieces of a length at most."""
    for corner in corners:
        count = max(1, math.ceil(float(np.linalg.norm(corner - start)) / longest))
        yield from (start + (corner - start) * k / count for k in range(1, count + 1))
        start = corner


def _segments(points: np.ndarray) -> np.ndarray:
    return np.stack([points[:-1], points[1:]], axis=1)
