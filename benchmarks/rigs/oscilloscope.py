"""An invented oscilloscope: what it writes of a current, with droop, gain, jitter, offset, noise and steps of eight bits."""
from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np

FINE = 8                          # points between samples at which the droop is integrated
MARK = "invented data: no instrument wrote this"


@dataclass(frozen=True)
class Oscilloscope:
    """One channel behind a current probe with an integrator.

    noise      standard deviation, a share of the largest current
    offset     a share of the largest current
    jitter     of the trigger, seconds (standard deviation)
    droop      lambda of the integrator in 1/s
    gain       of the probe against its scale
    bits       of the converter, whose range is `headroom` times the largest current to either side
    """

    noise: float = 0.01
    offset: float = 0.0
    jitter: float = 0.0
    droop: float = 0.0
    gain: float = 1.0
    bits: int = 8
    headroom: float = 1.25

    def samples(self, current: Callable[[np.ndarray], np.ndarray], times: np.ndarray, rng: np.random.Generator) -> np.ndarray:
        """What is written at evenly spaced `times` of a current that is 0 before the time 0, ampere."""
        shift = rng.normal(0.0, self.jitter)
        values = self.gain * self._after_integrator(current, times - shift)
        peak = float(np.abs(values).max())
        values = values + self.offset * peak + rng.normal(0.0, self.noise * peak, len(values))
        step = self.step(peak)
        return np.clip(np.round(values / step), -(2 ** (self.bits - 1)), 2 ** (self.bits - 1) - 1) * step

    def step(self, peak: float) -> float:
        """One step of the converter, ampere."""
        return 2 * self.headroom * peak / 2**self.bits

    def deviation(self, peak: float) -> float:
        """Standard deviation of noise and steps together, ampere."""
        return float(np.hypot(self.noise * peak, self.step(peak) / np.sqrt(12)))

    def _after_integrator(self, current: Callable[[np.ndarray], np.ndarray], times: np.ndarray) -> np.ndarray:
        """y = i - lambda z,  z' = i - lambda z,  z = 0 before: the charge by trapezoids on a finer grid, forgotten exactly."""
        if not self.droop:
            return current(times)
        step = (times[1] - times[0]) / FINE
        fine = times[0] + step * np.arange(FINE * (len(times) - 1) + 1)
        from scipy.signal import lfilter

        value, forget = current(fine), np.exp(-self.droop * step)
        charge = lfilter([0.5 * step, 0.5 * step * forget], [1.0, -forget], value)
        return (value - self.droop * charge)[::FINE]


def write_record(path: Path, times: np.ndarray, volts: np.ndarray, comment: str) -> None:
    """A record as an oscilloscope exports it: some lines of settings, then time and voltage."""
    header = f"# {MARK}\n# {comment}\nChannel,CH1\nSample interval,{times[1] - times[0]:.6g}\nTime,CH1\ns,V\n"
    rows = "".join(f"{time:.9e},{value:.6g}\n" for time, value in zip(times, volts, strict=True))
    path.write_text(header + rows, encoding="utf-8")
