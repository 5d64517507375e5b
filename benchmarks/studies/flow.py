"""How the results of a shot with moving metal settle as its accuracy is tightened, on the rig of the case `contract-rig-held`."""
from __future__ import annotations

import fieldsolve as fs
from benchmarks.studies.steps import rig

COLUMNS = ("`accuracy`", "steps", "unknowns", "final over initial radius of the disc", "its fastest speed, m/s",
           "hoop strain of the widest turn", "thickness at mid-radius over initial")
END_TIME = 60e-6


def rows(accuracies: tuple[float, ...] = (3e-2, 1e-2, 3e-3)) -> list[tuple]:
    """A row an accuracy."""
    section, bank = rig()
    return [_row(fs.solve_shot(section, bank, end_time=END_TIME, accuracy=accuracy), accuracy) for accuracy in accuracies]


def _row(shot, accuracy: float) -> tuple:
    values = (shot.radius_ratio("disc"), abs(shot.peak("speed", "disc")), shot.peak("hoop_strain", "coil"),
              shot.thickness_ratio("disc", at="mid-radius"))
    return accuracy, shot.steps, shot.field_at(0.0).unknowns, *(f"{float(value):.4g}" for value in values)
