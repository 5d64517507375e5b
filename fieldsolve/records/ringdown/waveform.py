"""The current of a ringing loop with a constant arc voltage, in closed form, as an instrument with droop shows it.

The loop is a capacitance C, an inductance L, a resistance R and an arc voltage V_a against the current.  Within a half-wave

    i = s_k a_k exp(-alpha x) sin(omega x),   x = t - start - k pi / omega,   s_k = (-1)^k
    alpha = R / (2 L),   omega^2 = 1 / (L C) - alpha^2

and from one half-wave to the next

    a_(k+1) = a_k exp(-pi alpha / omega) - b,   a_0 = (V_0 - V_a) / (omega L),   b = 2 V_a / (omega L)

until the arc goes out.  An integrator with droop lambda (1/s) shows  y = i - lambda integral of i(s) exp(-lambda (t - s)) ds.
Source: any text on circuits for each half-wave; the recursion follows from the voltage left at each zero (computed).
"""
from __future__ import annotations

from dataclasses import dataclass

import numpy as np

MOST_HALF_WAVES = 2000


@dataclass(frozen=True)
class Waveform:
    """A ringing current as an instrument shows it.

    omega, alpha   rad/s and 1/s
    first, drop    a_0 and b in ampere
    start, offset  seconds, ampere
    droop          lambda in 1/s
    half_waves     how many there are before the arc goes out; None: as the recursion says
    """

    omega: float
    alpha: float
    first: float
    drop: float
    start: float = 0.0
    offset: float = 0.0
    droop: float = 0.0
    half_waves: int | None = None

    def amplitudes(self, count: int) -> np.ndarray:
        """a_k of the first `count` half-waves, ampere; 0 once the arc is out."""
        decay, values = np.exp(-np.pi * self.alpha / self.omega), np.zeros(count)
        if count:
            values[0] = self.first
        for k in range(1, count):
            values[k] = values[k - 1] * decay - self.drop
            if self.half_waves is None and values[k] * self.first <= 0:
                values[k:] = 0.0
                break
        if self.half_waves is not None:
            values[self.half_waves:] = 0.0
        return values

    def at(self, times: np.ndarray) -> np.ndarray:
        """What the instrument shows at `times` (samples,), ampere."""
        half = np.pi / self.omega
        number = np.floor((times - self.start) / half)
        count = int(min(max(number.max(initial=-1.0) + 1, 0), MOST_HALF_WAVES))
        k = np.clip(number, 0, max(count - 1, 0)).astype(int)
        within = np.where(number >= 0, times - self.start - k * half, 0.0)
        signed = self.amplitudes(max(count, 1)) * (1 - 2 * (np.arange(max(count, 1)) % 2))
        current = signed[k] * np.exp(-self.alpha * within) * np.sin(self.omega * within)
        current[number < 0] = 0.0
        if self.droop:
            current -= self.droop * np.where(number >= 0, self._decaying_charge(signed, k, within), 0.0)
        return current + self.offset

    def _decaying_charge(self, signed: np.ndarray, k: np.ndarray, within: np.ndarray) -> np.ndarray:
        """Integral of i(s) exp(-lambda (t - s)) ds, the charge as the integrator forgets it."""
        rate = complex(-self.alpha, self.omega)

        def of_half_wave(x):
            return ((np.exp(rate * x) - np.exp(-self.droop * x)) / (rate + self.droop)).imag

        half = np.pi / self.omega
        forget, whole = np.exp(-self.droop * half), of_half_wave(half)
        before = np.zeros(len(signed))
        for m in range(1, len(signed)):
            before[m] = before[m - 1] * forget + signed[m - 1] * whole
        return before[k] * np.exp(-self.droop * within) + signed[k] * of_half_wave(within)
