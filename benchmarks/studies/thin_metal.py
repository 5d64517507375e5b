"""Unknowns that thin metal costs with mapped cells and without them."""
from __future__ import annotations

import math
import warnings
from unittest.mock import patch

import fieldsolve as fs
import geometries as geo
from geometries import sizing

COLUMNS = ("body in a coil of 8 turns at 10 kHz, accuracy 1e-2", "unknowns with mapped cells", "without")
FREQUENCY, ACCURACY = 10e3, 1e-2


def bodies() -> dict[str, geo.Part]:
    """Bodies with thin zones by what the table calls them."""
    copper, nickel, steel = (fs.Material(conductivity=value) for value in (5.8e7, 1.4e7, 6e6))
    plated = geo.clad_disc(radius=15e-3, layers=[(20e-6, nickel), (2e-3, steel), (20e-6, nickel)])
    return {"disc of 2 mm with 20 um of another metal on both faces": plated,
            "foil disc of 0.2 mm": geo.disc(radius=15e-3, thickness=0.2e-3, material=copper),
            "tube around the coil, wall 0.1 mm": geo.tube(inner_radius=22e-3, wall=0.1e-3, length=100e-3, material=copper, name="disc")}


def rows() -> list[tuple]:
    """A row a body."""
    return [(name, unknowns(body), unknowns(body, mapped=False)) for name, body in bodies().items()]


def unknowns(body: geo.Part, mapped: bool = True) -> int:
    """Unknowns of the last mesh for a body in the coil."""
    coil = geo.solenoid(turns=8, bore_radius=15.6e-3, wire_diameter=3e-3, pitch=3.3e-3, material=fs.material("copper"))
    with patch.object(sizing, "THIN", sizing.THIN if mapped else math.inf), warnings.catch_warnings():
        warnings.simplefilter("ignore")
        return fs.solve_harmonic(geo.CrossSection([coil, body]), frequency=FREQUENCY, currents={"coil": 1.0}, accuracy=ACCURACY).unknowns
