"""`python -m benchmarks.trace_radius FOLDER [same | other]`: does the band of a radius from the trace hold the true radius?

Each synthetic record is a shot of another mesh with hidden parameters, through a noisy oscilloscope of eight bits.  "same" are shots of
the model itself, "other" of one with another flow-stress law, finer cells and steps, and 5 % of the push lost to friction.  Each record
adds a row to a file in the folder; what is there is not computed again.  `--table` prints what the rows say.
"""
from __future__ import annotations

import argparse
import json
import pickle
import sys
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

import fieldsolve as fs
from benchmarks.rigs.oscilloscope import Oscilloscope
from fieldsolve.estimate import QUANTILE
from fieldsolve.inference.parameters import with_flow_stress
from fieldsolve.inference.radius import RadiusFromTrace, radius_result
from fieldsolve.inference.record_fit import RecordFit, fit_record, radius_model
from fieldsolve.inference.runs import ModelRun, ShotModel, sampled, shot_problem
from fieldsolve.inference.statistics.misfit import DOUBT, LEVEL
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
RECORDS = {"same": 24, "other": 10}
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


def record_of(run: ModelRun, gain: float, rng: np.random.Generator) -> fs.Record:
    """What the oscilloscope writes."""
    times = np.arange(-LEAD, run.times[-1], INTERVAL)
    current = Oscilloscope(noise=NOISE).samples(
        lambda at: gain * np.where(at > 0, np.interp(at, run.times, run.series["current"]), 0.0), times, rng)
    return fs.Record(times=times, values={"current": current}, units={"current": "A"})


def trial_names(kind: str) -> list[tuple[int, str, str]]:
    """Number, rig and metal of each record: every rig and metal in turn."""
    pairs = [(rig, metal) for metal in METALS for rig in RIGS]
    return [(k, *pairs[k % len(pairs)]) for k in range(RECORDS[kind])]


def row_of(kind: str, number: int, rig: str, metal: str, secret: Hidden, truth: ModelRun, seen: RadiusFromTrace) -> dict:
    """How far the true radius lies from the band, and what the parameters' intervals hold."""
    true_radius = np.interp(seen.times, truth.times, truth.series["radius"])
    half = seen.band.half_width
    there = seen.times > 0
    ratio = np.abs(seen.radius - true_radius)[there] / half[there]
    true_values = {"bank.resistance": secret.resistance * seen_value(rig, metal, "resistance"), "gain": secret.gain,
                   "bank.inductance": secret.inductance * seen_value(rig, metal, "inductance"), "bank.arc_voltage": secret.arc_voltage,
                   "flow_stress of disc": secret.flow_stress}
    return {
        "kind": kind, "number": number, "rig": rig, "metal": metal, "hidden": vars(secret), "within": float((ratio <= 1).mean()),
        "largest_ratio": float(ratio.max()), "end_half_width": float(half[-1] / seen.radius[-1]),
        "end_error": float((seen.radius[-1] - true_radius[-1]) / true_radius[-1]), "final_ratio": float(true_radius[-1] / true_radius[0]),
        "determination": seen.determination, "p_value": seen.misfit.p_value,
        "current_error": seen.current_error, "motion_error": seen.motion_error,
        "held": {name: bool(seen.parameters[name].low <= value <= seen.parameters[name].high) for name, value in true_values.items()},
        "parameters": {name: [p.value, p.low, p.high] for name, p in seen.parameters.items()}, "runs": seen.runs, "settled": seen.settled,
        "shots_of_cost": seen.cost / seen.shot_cost, "ratio": ratio[::10].tolist(),
    }


def seen_value(rig: str, metal: str, name: str) -> float:
    """A number of the bank as the case gives it."""
    return getattr(rig_case(rig, metal).banks[0], name)


def model_of(folder: Path, rig: str, metal: str, record: fs.Record) -> ShotModel:
    """The model of a rig and metal, with the coarse runs about the case's own values that are kept in the folder."""
    model = radius_model(rig_case(rig, metal), record, "disc", PRIOR, None, lambda text: print(f"  {text}", flush=True))
    path = folder / f"{rig}_{metal}.runs"
    if path.exists():
        known, meshes = pickle.loads(path.read_bytes())
        model.known.update(known)
        model.meshes.update(meshes)
    else:
        from fieldsolve.inference.surrogate import build_surrogate

        build_surrogate(model, np.zeros(len(model.parameters)))
        path.write_bytes(pickle.dumps((model.known, model.meshes)))
    return model


def run_trials(folder: Path, kind: str) -> None:
    """Compute the records that the folder lacks."""
    folder.mkdir(parents=True, exist_ok=True)
    rows = folder / "rows.jsonl"
    done = {(row["kind"], row["number"]) for row in read_rows(folder)}
    for number, rig, metal in trial_names(kind):
        if (kind, number) in done:
            continue
        rng = np.random.default_rng([number, len(kind)])
        secret = hidden(rng)
        print(f"{kind} {number}: {rig}, {metal}, {secret}", flush=True)
        kept = folder / f"true_{kind}_{number}.run"
        if not kept.exists():
            kept.write_bytes(pickle.dumps(true_run(rig_case(rig, metal), secret, kind)))
        truth = pickle.loads(kept.read_bytes())
        record = record_of(truth, secret.gain, rng)
        model = model_of(folder, rig, metal, record)
        found = fit_record(model, record)
        (folder / f"fit_{kind}_{number}.pickle").write_bytes(pickle.dumps(without_shots(found)))
        seen = radius_result(model, record, found)
        row = row_of(kind, number, rig, metal, secret, truth, seen)
        with rows.open("a", encoding="utf-8") as file:
            file.write(json.dumps(row) + "\n")
        print(f"  largest {row['largest_ratio']:.2f} bands, +- {100 * row['end_half_width']:.1f} %, probability {row['p_value']:.2g}",
              flush=True)


def without_shots(found: RecordFit) -> RecordFit:
    """The fit without the shot itself, whose fields take room."""
    surrogate = replace(found.fit.surrogate, run=replace(found.fit.surrogate.run, shot=None))
    return replace(found, fit=replace(found.fit, surrogate=surrogate))


def read_rows(folder: Path) -> list[dict]:
    """The rows that are there."""
    path = folder / "rows.jsonl"
    return [json.loads(line) for line in path.read_text(encoding="utf-8").splitlines()] if path.exists() else []


def summary(rows: list[dict], kind: str) -> str:
    """What the rows of a kind say together."""
    rows = [row for row in rows if row["kind"] == kind]
    if not rows:
        return f"{kind}: no rows"
    wide = {metal: max((row["end_half_width"] for row in rows if row["metal"] == metal), default=0.0) for metal in METALS}
    names = rows[0]["held"]
    return "\n".join([
        f"{kind}: {len(rows)} records; {100 * np.mean([row['within'] for row in rows]):.1f} % of times within the band; whole traces "
        f"within 1.5 bands: {sum(row['largest_ratio'] <= 1.5 for row in rows)}",
        "  largest half-width at the end: " + ", ".join(f"{metal} {100 * width:.1f} %" for metal, width in wide.items()),
        "  intervals that hold the hidden value: " + ", ".join(f"{name} {sum(row['held'][name] for row in rows)}" for name in names),
        f"  misfit said: {sum(row['p_value'] < LEVEL for row in rows)}, doubt: {sum(LEVEL <= row['p_value'] < DOUBT for row in rows)}; "
        f"root mean square of the error over the band's deviation: {rms_ratio(rows):.2f}; cost in shots, largest: "
        f"{max(row['shots_of_cost'] for row in rows):.1f}"])


def rms_ratio(rows: list[dict]) -> float:
    """Root mean square of the error of the radius over the standard deviation that its band says; 1 of a band that is right."""
    return QUANTILE * float(np.sqrt(np.mean([np.square(row["ratio"]).mean() for row in rows])))


def main(arguments: list[str] | None = None) -> int:
    """Compute what is missing, then print the summary."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks.trace_radius", description="Synthetic records of a radius from the trace.")
    parser.add_argument("folder", type=Path, help="where rows and runs are kept")
    parser.add_argument("kinds", nargs="*", help=f"of {', '.join(RECORDS)} (default: all)")
    parser.add_argument("--table", action="store_true", help="only print what the rows say")
    options = parser.parse_args(arguments)
    for kind in options.kinds or RECORDS:
        if not options.table:
            run_trials(options.folder, kind)
        print(summary(read_rows(options.folder), kind))
    return 0


if __name__ == "__main__":
    sys.exit(main())
