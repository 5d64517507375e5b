"""Synthetic records: shots of another mesh with hidden parameters, through a noisy oscilloscope of eight bits.

"same" are shots of the model itself, "other" of one with another flow-stress law, finer cells and steps, and 5 % of the push lost to
friction.
"""
from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

import fieldsolve as fs
from benchmarks.rigs.oscilloscope import Oscilloscope
from fieldsolve.inference.parameters import with_flow_stress
from fieldsolve.inference.runs import ModelRun, sampled, shot_problem
from fieldsolve.motion.defaults import refine_motions
from fieldsolve.shot.solve import solve_shot_problem

RIGS = {                        # coil, blank, bank without its charge, end of the shot
    "press": ({"turns": 4, "bore_radius": "12.6 mm", "wire_diameter": "3 mm", "pitch": "3.4 mm"}, {"radius": "12 mm", "thickness": "3 mm"},
              {"capacitance": "120 uF", "resistance": "6 mohm", "inductance": "250 nH", "arc_voltage": "75 V"}, "36 us"),
    "small": ({"turns": 5, "bore_radius": "10.5 mm", "wire_diameter": "2.5 mm", "pitch": "2.9 mm"},
              {"radius": "10 mm", "thickness": "2.5 mm"},
              {"capacitance": "60 uF", "resistance": "8 mohm", "inductance": "200 nH", "arc_voltage": "75 V"}, "28 us"),
    "wide": ({"turns": 3, "bore_radius": "15.8 mm", "wire_diameter": "4 mm", "pitch": "4.5 mm"}, {"radius": "15 mm", "thickness": "4 mm"},
             {"capacitance": "240 uF", "resistance": "4 mohm", "inductance": "150 nH", "arc_voltage": "75 V"}, "45 us"),
}
METALS = {"copper": "copper", "brass": "brass C260", "aluminium": "aluminium 1100-O"}
CHARGES = {"press": {"copper": 6.0, "brass": 6.0, "aluminium": 4.5}, "small": {"copper": 6.0, "brass": 6.0, "aluminium": 4.5},
           "wide": {"copper": 5.0, "brass": 5.0, "aluminium": 4.0}}               # kV
PRIOR = {"bank.resistance": 0.1, "bank.inductance": 0.02, "bank.arc_voltage": 0.3, "gain": 0.02, "flow_stress of disc": 0.3}
INTERVAL = 4e-9                 # seconds between samples
LEAD = 5e-6
NOISE = 0.01                    # of the peak
LOST = 0.05                     # of the push, to friction, in the other model
FIT_ACCURACY, TRUE_ACCURACY, TRUE_CELLS = 3e-2, 1e-2, {"same": 1.25, "other": 1.5}


@dataclass(frozen=True)
class Hidden:
    """What a record hides: factors on flow stress, R, L and gain, and the arc voltage in volt."""

    flow_stress: float
    resistance: float
    inductance: float
    arc_voltage: float
    gain: float


def hidden(rng: np.random.Generator) -> Hidden:
    """Drawn evenly from what a workshop does not know."""
    return Hidden(*(1 + rng.uniform(-width, width) for width in (0.3, 0.1, 0.02)), rng.uniform(40, 120), 1 + rng.uniform(-0.02, 0.02))


def rig_case(rig: str, metal: str) -> fs.Case:
    """The case that a person would write."""
    coil, disc, bank, end = RIGS[rig]
    return fs.read_case({"coil": {"shape": "solenoid", "material": "copper", **coil},
                         "disc": {"shape": "disc", "material": METALS[metal], **disc},
                         "bank": {**bank, "voltage": f"{CHARGES[rig][metal]} kV"}, "run": {"end_time": end, "accuracy": FIT_ACCURACY}})


def true_run(case: fs.Case, secret: Hidden, kind: str) -> ModelRun:
    """The shot that the record is of."""
    bank = case.banks[0]
    case = case.with_values({"bank.resistance": bank.resistance * secret.resistance, "bank.inductance": bank.inductance * secret.inductance,
                             "bank.arc_voltage": secret.arc_voltage})
    if kind == "other":
        case = replace(case, section=replace(case.section, parts=tuple(_other_metal(p) if p.name == "disc" else p for p in case.parts)))
    problem = shot_problem(with_flow_stress(case, "disc", secret.flow_stress), coarse=False)
    problem = replace(problem, accuracy=TRUE_ACCURACY, motion=refine_motions(problem.motions()[0], TRUE_CELLS[kind]))
    return sampled(solve_shot_problem(problem), "disc", "coil", case.run.end_time)


def _other_metal(part):
    """The part with a Zerilli-Armstrong law fitted to its own one, and with what 5 % of friction does.

    A push that is lost in the share q leaves (1 - q) F = m a + Y: it is the whole push on m / (1 - q) and Y / (1 - q).
    The heat content goes with the mass.
    """
    def changed(metal):
        density = metal.mechanical.density / (1 - LOST)
        law = other_law(metal.mechanical.flow_stress, 1 / (1 - LOST))
        return replace(metal, density=density, mechanical=replace(metal.mechanical, density=density, flow_stress=law))
    return replace(part, zones=tuple(replace(zone, material=changed(zone.material)) for zone in part.zones))


def other_law(law, factor: float) -> fs.ZerilliArmstrong:
    """The law of face-centred metals nearest to another one over strains of 0.02 to 1, rates of 1e2 to 1e5 /s and 300 to 600 K."""
    from scipy.optimize import least_squares

    strain, rate, temperature = (axis.ravel() for axis in np.meshgrid(np.linspace(0.02, 1.0, 9), np.logspace(2, 5, 4),
                                                                      np.linspace(300, 600, 4)))
    wanted = law.flow_stress(strain, rate, temperature)

    def build(x) -> fs.ZerilliArmstrong:
        return fs.ZerilliArmstrong(athermal=x[0] * 1e8, thermal_hardening=x[1] * 1e9, softening=x[2] * 1e-3, rate_sensitivity=x[3] * 1e-4,
                                   melting=float(law.melting), scale=factor)
    found = least_squares(lambda x: build(x).flow_stress(strain, rate, temperature) / factor / wanted - 1, [0.6, 0.8, 2.5, 1.0],
                          bounds=([0.01, 0.01, 0.05, 0.02], [20, 20, 20, 3.0]))
    return build(found.x)


def record_of(run: ModelRun, gain: float, rng: np.random.Generator, noise: float = NOISE) -> fs.Record:
    """What the oscilloscope writes."""
    times = np.arange(-LEAD, run.times[-1], INTERVAL)
    current = Oscilloscope(noise=noise).samples(
        lambda at: gain * np.where(at > 0, np.interp(at, run.times, run.series["current"]), 0.0), times, rng)
    return fs.Record(times=times, values={"current": current}, units={"current": "A"})


def true_parameters(case: fs.Case, secret: Hidden) -> dict[str, float]:
    """The hidden values by the names of the prior."""
    bank = case.banks[0]
    return {"bank.resistance": secret.resistance * bank.resistance, "gain": secret.gain,
            "bank.inductance": secret.inductance * bank.inductance, "bank.arc_voltage": secret.arc_voltage,
            "flow_stress of disc": secret.flow_stress}
