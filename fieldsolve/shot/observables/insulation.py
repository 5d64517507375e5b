"""What the insulation of a coil holds off: voltage round a turn, between neighbouring turns, and from the coil to a body.

Turns in series are wound layer by layer, there and back; with P_k the potential where turn k begins and V_k the voltage round it, at an
angle phi the potential is P_k - V_k phi / 2 pi, and between turns j and k the difference is largest where they begin or end.
The lead away from the banks' positive sides is taken as the ground, and so are the bodies.
"""
from __future__ import annotations

import itertools

import numpy as np

from geometries.cross_section import CrossSection
from geometries.parts import Part

SAME_LAYER = 1e-6            # of a radius: turns whose middles are that near are in one layer


def insulation_voltages(section: CrossSection, branches, coil_voltage: dict[str, float], turn_voltages: dict[str, np.ndarray]) -> dict:
    """turn_voltage, neighbour_voltage and voltage_to_body of each coil at one instant, volt, by (quantity, coil).

    branches        names of the coils in series in each branch, from the banks' positive side
    coil_voltage    volt at each coil's ends
    turn_voltages   volt round each solid turn, in the order of the coil's zones; a stranded coil's voltage is shared evenly
    A winding's layers are not known, so it has no neighbours.
    """
    found = {}
    for branch in branches:
        end_potential = 0.0                                     # potential of the coil's end
        for name in reversed(branch):
            part = section.part(name)
            if not part.zones:                                  # a line current has no insulation
                continue
            voltage = coil_voltage[name]
            turn_voltage = turn_voltages.get(name)
            if turn_voltage is None:
                turn_voltage = voltage * np.array([zone.turns for zone in part.zones]) / part.turns
            order, pairs = winding_order(part)
            begins = np.empty(len(turn_voltage))
            begins[order] = end_potential + voltage - np.concatenate([[0.0], np.cumsum(turn_voltage[order])[:-1]])
            ends = begins - turn_voltage
            found["turn_voltage", name] = float(np.abs(turn_voltage / [zone.turns for zone in part.zones]).max())
            found["voltage_to_body", name] = float(np.abs([begins, ends]).max())
            if len(pairs):
                one, other = pairs.T
                found["neighbour_voltage", name] = float(np.abs([begins[one] - begins[other], ends[one] - ends[other]]).max())
            end_potential += voltage
    return found


def winding_order(part: Part) -> tuple[np.ndarray, np.ndarray]:
    """Numbers of the turns in the order they are wound, and pairs (k, 2) of turns that lie side by side or one over the other."""
    r, z = np.array([_middle(zone.outline.bounds) for zone in part.zones]).T
    inside_out = np.lexsort((z, r))
    breaks = np.flatnonzero(np.diff(r[inside_out]) > SAME_LAYER * r.max()) + 1
    layers = np.split(inside_out, breaks)
    order = np.concatenate([layer[::-1] if k % 2 else layer for k, layer in enumerate(layers)])
    pairs = [pair for layer in layers for pair in itertools.pairwise(layer)]
    pairs += [pair for one, other in itertools.pairwise(layers) for pair in zip(one, other, strict=False)]
    return order, np.array(pairs, dtype=int).reshape(-1, 2)


def _middle(bounds: tuple[float, float, float, float]) -> tuple[float, float]:
    return 0.5 * (bounds[0] + bounds[1]), 0.5 * (bounds[2] + bounds[3])
