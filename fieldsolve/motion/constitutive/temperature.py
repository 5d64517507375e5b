"""Temperatures of many pieces of metal, cells or turns, from their enthalpies."""
from __future__ import annotations

import numpy as np

from fieldsolve.materials.heat_content import HeatContent
from fieldsolve.materials.thermal import ROOM

Contents = tuple[tuple[np.ndarray, HeatContent | None], ...]      # (numbers of the pieces, their metal; None: stays at 293.15 K)


def temperature_of(contents: Contents, enthalpy: np.ndarray) -> np.ndarray:
    """Kelvin in each piece at enthalpies in J/m^3 of cold metal."""
    return _of_pieces(contents, enthalpy, lambda content, h: content.temperature(h), ROOM)


def kelvin_per_heat(contents: Contents, enthalpy: np.ndarray) -> np.ndarray:
    """dT/dh in K m^3/J of each piece; 0 where no temperature is followed."""
    return _of_pieces(contents, enthalpy, lambda content, h: content.kelvin_per_heat(h), 0.0)


def _of_pieces(contents: Contents, enthalpy: np.ndarray, quantity, without: float) -> np.ndarray:
    values = np.full(len(enthalpy), without)
    for pieces, content in contents:
        if content is not None:
            values[pieces] = quantity(content, enthalpy[pieces])
    return values
