"""A capacitor into a fixed resistance and inductance: damped discharges, impulse fronts and tails, a constant arc voltage.

    L di/dt + R i = v,   dv/dt = -i / C,   i(0) = 0,   v(0) = V,   v the bank's voltage
    p_1, p_2 = -alpha +- sqrt(alpha^2 - 1/(L C)),  alpha = R / (2 L)
    i = (V / L) D(t),   D = (exp(p_1 t) - exp(p_2 t)) / (p_1 - p_2), at critical damping t exp(p t)

Source: any text on circuits, such as E. A. Guillemin, Introductory Circuit Theory (1953), ch. 6.
"""
from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from scipy.optimize import brentq


@dataclass(frozen=True)
class SeriesDischarge:
    """Series circuit of a charged capacitor: farad, volt, henry, ohm."""

    capacitance: float
    voltage: float
    inductance: float
    resistance: float

    @property
    def decay_rate(self) -> float:
        """alpha = R / (2 L) in 1/s."""
        return self.resistance / (2 * self.inductance)

    @property
    def angular_frequency(self) -> float:
        """sqrt(1/(L C) - alpha^2) in rad/s; zero at critical damping and beyond."""
        return math.sqrt(max(self._discriminant, 0.0))

    @property
    def half_period(self) -> float:
        """Time between current zeros in seconds, infinite where the current has none."""
        return math.pi / self.angular_frequency if self.angular_frequency else math.inf

    def current(self, time) -> np.ndarray:
        """Current in ampere, shape of `time` (s)."""
        return self.voltage / self.inductance * self._pulse(time)

    def bank_voltage(self, time) -> np.ndarray:
        """Voltage of the capacitor in volt:  v = V (2 alpha D + dD/dt)."""
        return self.voltage * (2 * self.decay_rate * self._pulse(time) + self._pulse_slope(time))

    def charge(self, time) -> np.ndarray:
        """Charge passed since the start in coulomb:  C (V - v)."""
        return self.capacitance * (self.voltage - self.bank_voltage(time))

    def action(self, time) -> np.ndarray:
        """Integral of i^2 dt in A^2 s: what the energies leave, over R;  R > 0.

            R integral of i^2 dt = C V^2 / 2 - C v^2 / 2 - L i^2 / 2
        """
        stored = self.capacitance * self.bank_voltage(time) ** 2 + self.inductance * self.current(time) ** 2
        return (self.capacitance * self.voltage**2 - stored) / (2 * self.resistance)

    @property
    def total_action(self) -> float:
        """Action of the whole discharge:  C V^2 / (2 R)."""
        return self.capacitance * self.voltage**2 / (2 * self.resistance)

    def peak_time(self, number: int = 0) -> float:
        """Time in seconds of a maximum of |i|, counted from 0; beyond the first only where the circuit rings.

            tan(w t) = w / alpha;   at critical damping t = 1 / alpha;   beyond tanh(k t) = k / alpha, k = sqrt(alpha^2 - 1/(L C))
        """
        alpha, w = self.decay_rate, self.angular_frequency
        if w:
            return (math.atan2(w, alpha) + number * math.pi) / w
        if number:
            raise ValueError(f"an aperiodic discharge has one peak, not a number {number}")
        k = math.sqrt(-self._discriminant)
        return math.atanh(k / alpha) / k if k else 1 / alpha

    def peak(self, number: int = 0) -> tuple[float, float]:
        """(current in ampere with its sign, time in seconds) of a maximum of |i|."""
        time = self.peak_time(number)
        return float(self.current(time)), time

    @property
    def _discriminant(self) -> float:
        """1/(L C) - alpha^2 in 1/s^2; rounding of critical values counts as zero."""
        natural, damped = 1 / (self.inductance * self.capacitance), self.decay_rate**2
        return 0.0 if abs(natural - damped) < 1e-14 * natural else natural - damped

    @property
    def _rates(self) -> tuple[complex, complex]:
        """p_1 (the slower) and p_2 in 1/s."""
        root = np.sqrt(complex(-self._discriminant))
        return -self.decay_rate + root, -self.decay_rate - root

    def _pulse(self, time) -> np.ndarray:
        """D in seconds, free of cancellation near critical damping."""
        p_1, p_2 = self._rates
        time = np.asarray(time, dtype=float)
        if p_1 == p_2:
            return time * np.exp(p_1.real * time)
        return (-np.exp(p_1 * time) * np.expm1((p_2 - p_1) * time) / (p_1 - p_2)).real

    def _pulse_slope(self, time) -> np.ndarray:
        """dD/dt, a pure number:  (exp(p_1 t) + exp(p_2 t)) / 2 - alpha D."""
        p_1, p_2 = self._rates
        time = np.asarray(time, dtype=float)
        return (np.exp(p_1 * time) + np.exp(p_2 * time)).real / 2 - self.decay_rate * self._pulse(time)


# --- impulses ----------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Impulse:
    """Peak, its time, front time T1 and tail time T2 of a unipolar front; seconds, ampere.

        T1 = 1.25 (t_90 - t_10),   T2 = t_50 on the tail - (t_10 - 0.1 T1)

    Source: IEC 60060-1 and IEC 62475 (from memory).
    """

    peak: float
    peak_time: float
    front_time: float
    tail_time: float


def impulse(current, peak_time, longest) -> Impulse:
    """Front and tail of `current` (a function of time) that rises to its peak and has halved before `longest`; seconds."""
    peak = float(current(peak_time))
    t_10, t_90 = (brentq(lambda t, s=share: current(t) - s * peak, 0.0, peak_time, xtol=1e-15 * peak_time) for share in (0.1, 0.9))
    t_50 = brentq(lambda t: current(t) - 0.5 * peak, peak_time, longest, xtol=1e-15 * peak_time)
    front = 1.25 * (t_90 - t_10)
    return Impulse(peak, peak_time, front, t_50 - (t_10 - 0.1 * front))


def damped_impulse(damping_ratio) -> Impulse:
    """Impulse of a series circuit with 1/sqrt(L C) = 1 rad/s, V/L = 1 A/s and alpha = `damping_ratio` < 1."""
    circuit = SeriesDischarge(1.0, 1.0, 1.0, 2 * damping_ratio)
    return impulse(circuit.current, circuit.peak_time(), circuit.half_period)


def circuit_of_impulse(front_time, tail_time, capacitance) -> SeriesDischarge:
    """The ringing series circuit at one volt with these T1 and T2: its damping ratio sets T2/T1, its frequency T1."""
    damping = brentq(lambda d: _tail_to_front(d) - tail_time / front_time, 0.01, 0.99, xtol=1e-15)
    natural = damped_impulse(damping).front_time / front_time
    inductance = 1 / (natural**2 * capacitance)
    return SeriesDischarge(capacitance, 1.0, inductance, 2 * damping * natural * inductance)


def _tail_to_front(damping_ratio: float) -> float:
    shape = damped_impulse(damping_ratio)
    return shape.tail_time / shape.front_time


def cubic_impulse(coefficient, tau) -> Impulse:
    """Impulse of  i = coefficient t^3 exp(-t/tau), whose peak is at 3 tau; t and tau in one unit.  Source: IEEE C62.41.2."""
    return impulse(lambda t: coefficient * t**3 * np.exp(-t / tau), 3 * tau, 30 * tau)


# --- arc ---------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class ArcDischarge:
    """The circuit with a constant voltage against the current, as half-waves of the same circuit without it.

        L di/dt + R i + sign(i) V_a = v:  with V_k - s_k V_a in place of V each half-wave is that of `SeriesDischarge`,
        V_(k+1) = s_k V_a - (V_k - s_k V_a) exp(-alpha pi / w);  at a current zero the arc is out if |V_(k+1)| <= V_a.

    circuit      farad, volt (V > V_a > 0), henry, ohm
    arc_voltage  volt
    """

    circuit: SeriesDischarge
    arc_voltage: float

    @property
    def half_waves(self) -> tuple[SeriesDischarge, ...]:
        """The discharges whose first half-waves follow one another until the arc is out; one in all if the circuit does not ring."""
        circuit, voltage, found = self.circuit, self.circuit.voltage, []
        while abs(voltage) > self.arc_voltage:
            across = voltage - math.copysign(self.arc_voltage, voltage)
            found.append(replace(circuit, voltage=across))
            if not circuit.angular_frequency:
                break
            voltage -= across * (1 + math.exp(-circuit.decay_rate * circuit.half_period))
        return tuple(found)

    @property
    def end_time(self) -> float:
        """Time in seconds at which the arc is out; infinite if the circuit does not ring."""
        return len(self.half_waves) * self.circuit.half_period

    @property
    def residual_voltage(self) -> float:
        """Bank voltage in volt, with its sign, once the arc is out; where the circuit does not ring what it tends to, the arc's."""
        if math.isinf(self.end_time):
            return math.copysign(self.arc_voltage, self.circuit.voltage)
        return float(self.bank_voltage(self.end_time))

    def current(self, time) -> np.ndarray:
        """Current in ampere, shape of `time` (s); zero once the arc is out."""
        time = np.asarray(time, dtype=float)
        total = np.zeros_like(time)
        for start, wave in self._started():
            total = np.where((time >= start) & (time - start < wave.half_period), wave.current(time - start), total)
        return total

    def bank_voltage(self, time) -> np.ndarray:
        """Voltage of the capacitor in volt, shape of `time` (s)."""
        time = np.asarray(time, dtype=float)
        total = np.full_like(time, self.circuit.voltage)
        for start, wave in self._started():
            drop = math.copysign(self.arc_voltage, wave.voltage)
            since = np.clip(time - start, 0.0, wave.half_period)
            total = np.where(time >= start, drop + wave.bank_voltage(since), total)
        return total

    def peak(self, number: int = 0) -> tuple[float, float]:
        """(current in ampere with its sign, time in seconds) of the peak of half-wave `number`, from 0."""
        start, wave = self._started()[number]
        current, time = wave.peak()
        return current, start + time

    def _started(self) -> list[tuple[float, SeriesDischarge]]:
        """(time of its start, half-wave) of each."""
        return [(k * self.circuit.half_period if k else 0.0, wave) for k, wave in enumerate(self.half_waves)]
