"""`python -m benchmarks.rigs.invented_shots [FOLDER]`: writes two invented records of shots of the made-up workshop's press.

The first shot is that of measured_press.toml with its inputs off by about their uncertainty.  Before the second one a joint of the
leads has come loose, which the case file does not know: 40 nH and 4 mohm more.
"""
from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
from scipy.interpolate import CubicHermiteSpline

from benchmarks.rigs.oscilloscope import Oscilloscope, write_record
from fieldsolve.cases.case_file import read_case
from fieldsolve.cases.solve import solve_case

CASE = Path(__file__).parent / "measured_press.toml"
AS_BUILT = {"bank.capacitance": 120.9e-6, "bank.voltage": 5.77e3, "bank.inductance": 303e-9, "bank.arc_voltage": 84.0}
LOOSE_JOINT = {"leads.inductance": 80e-9, "leads.resistance": 4.5e-3}
SHOTS = {"press_shot_1.csv": AS_BUILT, "press_shot_2.csv": AS_BUILT | LOOSE_JOINT}
PROBE = 8e3                       # ampere a volt, as its label says
SCOPE = Oscilloscope(noise=0.006, offset=0.004, jitter=0.4e-6, droop=40.0, gain=1.012)
SAMPLES, LEAD, END = 2500, 15e-6, 145e-6


def shot_samples(changes: dict[str, float], seed: int) -> tuple[np.ndarray, np.ndarray]:
    """Times in seconds and current in ampere as the oscilloscope has them, of the press with values of its case changed."""
    shot = solve_case(read_case(CASE).with_values(changes))
    current = CubicHermiteSpline(shot.times, shot.series("current", "coil"), shot.series("current_rate", "coil"))
    times = np.linspace(-LEAD, END, SAMPLES)
    return times, SCOPE.samples(lambda t: np.where(t > 0, current(np.clip(t, 0.0, shot.times[-1])), 0.0), times,
                                np.random.default_rng(seed))


def main(folder: str = str(Path(__file__).parent)) -> None:
    """Write the records."""
    for seed, (name, changes) in enumerate(SHOTS.items(), start=11):
        times, current = shot_samples(changes, seed)
        write_record(Path(folder) / name, times, current / PROBE, f"current of the press of measured_press.toml; {PROBE / 1e3:g} kA/V")


if __name__ == "__main__":
    main(*sys.argv[1:])
