"""A press of lumped elements, computed in milliseconds: a bank into an inductance that grows as a ring shrinks."""
from __future__ import annotations

import math

import numpy as np

from fieldsolve.inference.runs import FIELD_RATE, INSTANTS, ModelRun

TABLES = {"coil": {"shape": "solenoid", "turns": 4, "bore_radius": "15.6 mm", "wire_diameter": "3 mm", "pitch": "3.3 mm",
                   "material": "copper"},
          "disc": {"shape": "disc", "radius": "15 mm", "thickness": "2 mm", "material": "copper"},
          "bank": {"capacitance": "120 uF", "voltage": "6 kV", "inductance": "350 nH", "resistance": "8 mohm", "arc_voltage": "80 V"},
          "run": {"end_time": "60 us"}}
STEPS = 1                       # of the integration in each interval of the grid
RADIUS, MASS, COIL, COUPLING = 15e-3, 6e-3, 900e-9, 0.6
LOOP = 1e-4                     # tesla an ampere at a loop between coil and ring, without the ring
STRENGTH = 7e4                # newton, of the ring against being shrunk


def inductance(radius: float) -> tuple[float, float]:
    """L and dL/dr of coil and ring."""
    share = COUPLING * (radius / RADIUS) ** 3
    return COIL * (1 - share), -3 * COIL * share / radius


def lumped_run(case, friction: float = 0.0, hardening: float = 0.0, held: bool = False) -> ModelRun:
    """The shot of a case's bank and of its disc's flow stress, by the method of Runge and Kutta.

    friction, hardening  what the model that is fitted leaves out: a share of the push, and of the strength at full strain
    """
    bank = case.banks[0]
    strength = STRENGTH * case.section.part("disc").zones[0].material.mechanical.flow_stress.scale
    times = np.linspace(0.0, case.run.end_time, INSTANTS)
    step = times[1] / STEPS

    def rate(current: float, charge: float, radius: float, speed: float) -> tuple[float, ...]:
        total, slope = inductance(radius)
        voltage = bank.voltage - charge / bank.capacitance - bank.resistance * current - bank.arc_voltage * math.tanh(current / 50.0)
        push = -0.5 * current**2 * slope * (1 - friction)
        resisting = strength * (1 + hardening * (1 - radius / RADIUS)) * math.tanh(speed / 2.0)
        return ((voltage + current * slope * speed) / (total + bank.inductance), current, -speed,
                0.0 if held else (push - resisting) / MASS)

    def moved(state: tuple[float, ...], slope: tuple[float, ...], duration: float) -> tuple[float, ...]:
        return tuple(value + duration * change for value, change in zip(state, slope, strict=True))
    states = [(0.0, 0.0, RADIUS, 0.0)]
    for _ in range(STEPS * (INSTANTS - 1)):
        y = states[-1]
        k1 = rate(*y)
        k2 = rate(*moved(y, k1, step / 2))
        k3 = rate(*moved(y, k2, step / 2))
        k4 = rate(*moved(y, k3, step))
        states.append(moved(y, tuple((a + 2 * b + 2 * c + d) / 6 for a, b, c, d in zip(k1, k2, k3, k4, strict=True)), step))
    current, charge, radius, speed = np.array(states[::STEPS]).T
    flux = current * np.array([inductance(r)[0] for r in radius])
    loop = LOOP * current * (1 - COUPLING * (radius / RADIUS) ** 2)
    return ModelRun(times, {"current": current, "current_rate": np.gradient(current, times), "radius": radius,
                       "loop": loop, FIELD_RATE + "loop": np.gradient(loop, times),
                       "coil_radius": np.full(INSTANTS, 18.6e-3), "flux": flux, "speed": speed,
                       "voltage": bank.voltage - charge / bank.capacitance}, {}, float(times[-1]), 1.0)
