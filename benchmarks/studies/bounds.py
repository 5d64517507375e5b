"""Accuracy demanded, error bound and true error of an inductance that is known to twelve digits."""
from __future__ import annotations

import fieldsolve as fs
import geometries as geo
from benchmarks.cases import load

COLUMNS = ("`accuracy`", "meshes", "unknowns", "error bound, relative", "true error, relative")
ACCURACIES = (1e-3, 1e-4, 1e-5, 1e-6)


def brooks_coil(accuracies: tuple[float, ...] = ACCURACIES) -> list[tuple]:
    """A row an accuracy: Brooks' coil, a square section of 10 mm on a mean radius of 15 mm, case `brooks-coil-10`."""
    case = load("statics.toml")["brooks-coil-10"]
    exact = case.expected["inductance_per_turn_squared_H"]
    coil = geo.winding(inner_radius=case.setup["inner_radius_m"], outer_radius=case.setup["outer_radius_m"],
                       height=case.setup["axial_length_m"], turns=1)
    return [_row(fs.solve_static(geo.CrossSection([coil]), {"coil": 1.0}, accuracy=accuracy, goals="inductance"), accuracy, exact)
            for accuracy in accuracies]


def _row(field, accuracy: float, exact: float) -> tuple:
    inductance = field.inductance("coil")
    return accuracy, field.meshes, field.unknowns, inductance.error / exact, abs(inductance.value / exact - 1)
