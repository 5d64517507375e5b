"""`python -m benchmarks.rigs.invented_records [FOLDER]`: writes invented ring-downs of the made-up workshop's bank."""
from __future__ import annotations

import sys
from pathlib import Path

import numpy as np

from benchmarks.closed_forms.discharge import ArcDischarge, SeriesDischarge
from benchmarks.rigs.oscilloscope import Oscilloscope, write_record

BANK = {"capacitance": 120e-6, "inductance": 300e-9, "resistance": 6e-3}            # of blank_press.toml
SHORT = {"inductance": 60e-9, "resistance": 1e-3}                                   # the stout loop in place of the coil
ARC_VOLTAGE = 80.0
PROBE = 20e3                      # ampere a volt
CHARGES = {"ring_down_1kV.csv": 1000.0, "ring_down_2kV.csv": 2000.0}
SCOPE = Oscilloscope(noise=0.008, offset=0.01, jitter=0.1e-6, droop=60.0)
SAMPLES, LEAD, END = 2500, 20e-6, 230e-6


def ring_down(voltage: float) -> ArcDischarge:
    """The bank at `voltage` into the short."""
    circuit = SeriesDischarge(BANK["capacitance"], voltage, BANK["inductance"] + SHORT["inductance"],
                              BANK["resistance"] + SHORT["resistance"])
    return ArcDischarge(circuit, ARC_VOLTAGE)


def ring_down_samples(voltage: float, seed: int) -> tuple[np.ndarray, np.ndarray]:
    """Times in seconds and current in ampere as the oscilloscope has them."""
    times = np.linspace(-LEAD, END, SAMPLES)
    discharge = ring_down(voltage)
    return times, SCOPE.samples(lambda t: np.where(t > 0, discharge.current(np.maximum(t, 0.0)), 0.0), times, np.random.default_rng(seed))


def main(folder: str = str(Path(__file__).parent)) -> None:
    """Write the records."""
    for seed, (name, voltage) in enumerate(CHARGES.items(), start=1):
        times, current = ring_down_samples(voltage, seed)
        write_record(Path(folder) / name, times, current / PROBE,
                     f"ring-down of the bank of blank_press.toml at {voltage:g} V into a stout loop of 60 nH and 1 mohm; 20 kA/V")


if __name__ == "__main__":
    main(*sys.argv[1:])
