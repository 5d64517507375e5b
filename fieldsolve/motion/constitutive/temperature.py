"""Temperatures of many cells or turns from their enthalpies."""
from __future__ import annotations

import numpy as np

from fieldsolve.materials.heat_content import HeatContent
from fieldsolve.materials.thermal import ROOM_TEMPERATURE

HeatContents = tuple[tuple[np.ndarray, HeatContent | None], ...]      # (indices of cells or turns, their metal; None: stays at 293.15 K)


def temperature_from_enthalpy(heat_contents: HeatContents, enthalpy: np.ndarray) -> np.ndarray:
    """Temperature in K of each cell at enthalpies (cells,) in J/m^3 of cold metal."""
    return _evaluate(heat_contents, enthalpy, lambda content, h: content.temperature(h), ROOM_TEMPERATURE)


def inverse_heat_capacity(heat_contents: HeatContents, enthalpy: np.ndarray) -> np.ndarray:
    """dT/dh in K m^3/J of each cell; 0 where no temperature is followed."""
    return _evaluate(heat_contents, enthalpy, lambda content, h: content.inverse_heat_capacity(h), 0.0)


def _evaluate(heat_contents: HeatContents, enthalpy: np.ndarray, quantity, default: float) -> np.ndarray:
    values = np.full(len(enthalpy), default)
    for cells, content in heat_contents:
        if content is not None:
            values[cells] = quantity(content, enthalpy[cells])
    return values
