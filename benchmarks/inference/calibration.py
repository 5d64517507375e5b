"""`python -m benchmarks.inference calibration FOLDER`: calibrated on three shots, does the model predict the fourth?

Three shots of each synthetic bench are fitted together; a fourth, charged higher than all of them, is predicted.
"""
from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np

import fieldsolve as fs
from benchmarks.inference.kept import add_row, kept, model_with_runs, read_rows
from benchmarks.inference.synthetic import CHARGES, Hidden, hidden, record_of, rig_case, true_parameters, true_run
from fieldsolve.inference.calibration.calibrate import ModelCalibration, ShotRecord, calibrate_models
from fieldsolve.inference.runs import ModelRun

BENCHES = 8
RIGS = (("wide", "copper"), ("wide", "aluminium"))
SHARES = (0.92, 0.96, 1.0, 1.04)        # of the rig's charge; the last one is held out
ROWS = "benches.jsonl"


def bench_cases(rig: str, metal: str) -> list[fs.Case]:
    """The cases of the shots."""
    return [rig_case(rig, metal).with_values({"bank.voltage": 1e3 * CHARGES[rig][metal] * share}) for share in SHARES]


def run_benches(folder: Path) -> list[dict[str, Any]]:
    """Compute the benches that the folder lacks; the rows of all."""
    folder.mkdir(parents=True, exist_ok=True)
    done = {row["bench"] for row in read_rows(folder / ROWS)}
    for bench in sorted(set(range(BENCHES)) - done):
        row = run_bench(folder, bench)
        add_row(folder / ROWS, row)
        print({key: row[key] for key in ("bench", "end_ratio", "end_half_width", "within", "verdict")}, flush=True)
    return read_rows(folder / ROWS)


def run_bench(folder: Path, bench: int) -> dict[str, Any]:
    """One bench: its shots, the calibration to three of them, and a row on the fourth."""
    rig, metal = RIGS[bench % len(RIGS)]
    rng = np.random.default_rng([bench, 25])
    secret, pairs = hidden(rng), []
    for number, case in enumerate(bench_cases(rig, metal)):
        truth = kept(folder / f"true_{bench}_{number}.run", lambda case=case: true_run(case, secret, "same"))
        record = record_of(truth, secret.gain, rng)
        model = model_with_runs(folder / f"{rig}_{metal}_{number}.runs", case, record)
        pairs.append((model, ShotRecord(f"shot {number}", case, record, {})))
    return row_of(bench, rig, metal, secret, truth, calibrate_models(pairs[:-1], pairs[-1:]))


def row_of(bench: int, rig: str, metal: str, secret: Hidden, truth: ModelRun, found: ModelCalibration) -> dict[str, Any]:
    """Whether the held-out shot's radius lies in its band, and the hidden values in their intervals."""
    held = found.held_out[0]
    error = held.radius.values - np.interp(held.times, truth.times, truth.series["radius"])
    ratio = np.abs(error[1:]) / held.radius.half_width[1:]
    return {"bench": bench, "rig": rig, "metal": metal, "hidden": vars(secret), "end_ratio": float(ratio[-1]), "within": float(
        (ratio <= 1).mean()), "end_half_width": float(held.radius.half_width[-1] / held.radius.values[-1]), "verdict": held.verdict,
        "held": {name: bool(found.parameters[name].low <= value <= found.parameters[name].high)
                 for name, value in true_parameters(rig_case(rig, metal), secret).items()},
        "disagreement": found.disagreement, "settled": found.settled, "shots": found.runs, "processor_time_s": found.cost}


def summary(rows: list[dict[str, Any]]) -> str:
    """What the rows say together."""
    intervals = {name: sum(row["held"][name] for row in rows) for name in rows[0]["held"]}
    return "\n".join([
        f"{len(rows)} benches: last radius within its band in {sum(row['end_ratio'] <= 1 for row in rows)}, half-width at "
        f"most {100 * max(row['end_half_width'] for row in rows):.1f} %; at all times together "
        f"{100 * np.mean([row['within'] for row in rows]):.1f} %",
        "  intervals that hold the hidden value: " + ", ".join(f"{name} {count}" for name, count in intervals.items()),
        f"  shots: {min(row['shots'] for row in rows)} to {max(row['shots'] for row in rows)}"])
