"""`python -m benchmarks.bench_calibration FOLDER`: calibrated on three shots, does the model predict the fourth?

Each synthetic bench hides its parameters as `benchmarks.trace_radius` does.  Three of its shots are fitted together; a fourth, charged
higher than all of them, is predicted.  Each bench adds a row to a file in the folder; what is there is not computed again.
"""
from __future__ import annotations

import argparse
import json
import pickle
import sys
from pathlib import Path

import numpy as np

import fieldsolve as fs
from benchmarks.trace_radius import CHARGES, PRIOR, Hidden, hidden, record_of, rig_case, seen_value, true_run
from fieldsolve.inference.calibration.calibrate import ModelCalibration, ShotRecord, calibrate_models
from fieldsolve.inference.record_fit import radius_model
from fieldsolve.inference.runs import ModelRun, ShotModel
from fieldsolve.inference.surrogate import build_surrogate

BENCHES = 8
RIGS = (("wide", "copper"), ("wide", "aluminium"))
SHARES = (0.92, 0.96, 1.0, 1.04)        # of the rig's charge; the last one is held out


def bench_cases(rig: str, metal: str) -> list[fs.Case]:
    """The cases of the shots."""
    return [rig_case(rig, metal).with_values({"bank.voltage": 1e3 * CHARGES[rig][metal] * share}) for share in SHARES]


def kept(path: Path, compute):
    """What a file holds, computed and written where there is none."""
    if not path.exists():
        path.write_bytes(pickle.dumps(compute()))
    return pickle.loads(path.read_bytes())


def model_of(folder: Path, rig: str, metal: str, number: int, case: fs.Case, record: fs.Record) -> ShotModel:
    """The model of a shot, with the coarse runs about the case's own values that are kept in the folder."""
    model = radius_model(case, record, "disc", PRIOR, None, lambda text: print(f"  {text}", flush=True))

    def coarse_runs():
        build_surrogate(model, np.zeros(len(model.parameters)))
        return model.known, model.meshes
    for own, known in zip((model.known, model.meshes), kept(folder / f"{rig}_{metal}_{number}.runs", coarse_runs), strict=True):
        own.update(known)
    return model


def run_bench(folder: Path, bench: int) -> dict:
    """One bench: its shots, the calibration to three of them, and a row on the fourth."""
    rig, metal = RIGS[bench % len(RIGS)]
    rng = np.random.default_rng([bench, 25])
    secret, pairs = hidden(rng), []
    for number, case in enumerate(bench_cases(rig, metal)):
        truth = kept(folder / f"true_{bench}_{number}.run", lambda case=case: true_run(case, secret, "same"))
        record = record_of(truth, secret.gain, rng)
        pairs.append((model_of(folder, rig, metal, number, case, record), ShotRecord(f"shot {number}", case, record, {})))
    return row_of(bench, rig, metal, secret, truth, calibrate_models(pairs[:-1], pairs[-1:]))


def row_of(bench: int, rig: str, metal: str, secret: Hidden, truth: ModelRun, found: ModelCalibration) -> dict:
    """Whether the held-out shot's radius lies in its band, and the hidden values in their intervals."""
    held = found.held_out[0]
    error = held.radius.values - np.interp(held.times, truth.times, truth.series["radius"])
    true = {"bank.resistance": secret.resistance * seen_value(rig, metal, "resistance"), "gain": secret.gain,
            "bank.inductance": secret.inductance * seen_value(rig, metal, "inductance"), "bank.arc_voltage": secret.arc_voltage,
            "flow_stress of disc": secret.flow_stress}
    ratio = np.abs(error[1:]) / held.radius.half_width[1:]
    return {"bench": bench, "rig": rig, "metal": metal, "hidden": vars(secret), "end_ratio": float(ratio[-1]), "within": float(
        (ratio <= 1).mean()), "end_half_width": float(held.radius.half_width[-1] / held.radius.values[-1]), "verdict": held.verdict,
        "held": {name: bool(found.parameters[name].low <= value <= found.parameters[name].high) for name, value in true.items()},
        "disagreement": found.disagreement, "settled": found.settled, "shots": found.runs, "processor_time_s": found.cost}


def summary(rows: list[dict]) -> str:
    """What the rows say together."""
    return "\n".join([f"{len(rows)} benches: last radius within its band in {sum(row['end_ratio'] <= 1 for row in rows)}, half-width at "
                      f"most {100 * max((row['end_half_width'] for row in rows), default=0.0):.1f} %; at all times together "
                      f"{100 * np.mean([row['within'] for row in rows]):.1f} %"] if rows else ["no rows"])


def main(arguments: list[str] | None = None) -> int:
    """Compute what is missing, then print the summary."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks.bench_calibration", description="Synthetic benches of four shots each.")
    parser.add_argument("folder", type=Path, help="where rows and runs are kept")
    options = parser.parse_args(arguments)
    options.folder.mkdir(parents=True, exist_ok=True)
    path = options.folder / "benches.jsonl"
    rows = [json.loads(line) for line in path.read_text(encoding="utf-8").splitlines()] if path.exists() else []
    for bench in set(range(BENCHES)) - {row["bench"] for row in rows}:
        rows.append(run_bench(options.folder, bench))
        with path.open("a", encoding="utf-8") as file:
            file.write(json.dumps(rows[-1]) + "\n")
        print({key: rows[-1][key] for key in ("bench", "end_ratio", "end_half_width", "within", "verdict")}, flush=True)
    print(summary(rows))
    return 0


if __name__ == "__main__":
    sys.exit(main())
