"""`python -m benchmarks.inference radius FOLDER`: does the band of a radius from the trace hold the true radius?

Each record is of one rig and metal, in turn, with other hidden parameters.  It adds a row to a file in the folder, and its fit.
"""
from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from benchmarks.inference.kept import add_row, kept, model_with_runs, read_rows
from benchmarks.inference.synthetic import METALS, RIGS, Hidden, hidden, record_of, rig_case, true_parameters, true_run
from fieldsolve.estimate import QUANTILE
from fieldsolve.inference.radius import RadiusFromTrace, radius_result
from fieldsolve.inference.record_fit import RecordFit, fit_record
from fieldsolve.inference.runs import ModelRun
from fieldsolve.inference.statistics.misfit import DOUBT, LEVEL, MisfitTest, combined_misfit

RECORDS = {"same": 48, "other": 20}     # of each kind; the sizes of the model's errors were chosen with the first half alone
ROWS = "rows.jsonl"


@dataclass(frozen=True)
class Trial:
    """One record of a study, with what is drawn for it."""

    kind: str
    number: int
    rig: str
    metal: str

    @property
    def name(self) -> str:
        """For its files."""
        return f"{self.kind}_{self.number}"

    def draw(self) -> tuple[Hidden, np.random.Generator]:
        """What it hides, and where its noise comes from."""
        rng = np.random.default_rng([self.number, len(self.kind)])
        return hidden(rng), rng


def trials(kind: str) -> list[Trial]:
    """All of a kind: every rig and metal in turn."""
    pairs = [(rig, metal) for metal in METALS for rig in RIGS]
    return [Trial(kind, k, *pairs[k % len(pairs)]) for k in range(RECORDS[kind])]


def true_shot(folder: Path, trial: Trial) -> ModelRun:
    """The shot that a record is of."""
    return kept(folder / f"true_{trial.name}.run", lambda: true_run(rig_case(trial.rig, trial.metal), trial.draw()[0], trial.kind))


def run_trials(folder: Path, kinds: Iterable[str]) -> None:
    """Compute the records that the folder lacks."""
    folder.mkdir(parents=True, exist_ok=True)
    done = {(row["kind"], row["number"]) for row in read_rows(folder / ROWS)}
    for trial in (trial for kind in kinds for trial in trials(kind) if (kind, trial.number) not in done):
        print(f"{trial.name}: {trial.rig}, {trial.metal}", flush=True)
        row = run_trial(folder, trial)
        add_row(folder / ROWS, row)
        print(f"  largest {row['largest_ratio']:.2f} bands, +- {100 * row['end_half_width']:.1f} %, probability {row['p_value']:.2g}",
              flush=True)


def run_trial(folder: Path, trial: Trial) -> dict[str, Any]:
    """The row of one record."""
    truth, (secret, rng) = true_shot(folder, trial), trial.draw()
    record = record_of(truth, secret.gain, rng)
    model = model_with_runs(folder / f"{trial.rig}_{trial.metal}.runs", rig_case(trial.rig, trial.metal), record)
    found = kept(folder / f"fit_{trial.name}.pickle", lambda: without_shots(fit_record(model, record)))
    return row_of(trial, secret, truth, radius_result(model, record, found))


def without_shots(found: RecordFit) -> RecordFit:
    """The fit without the shot itself, whose fields take room."""
    surrogate = replace(found.fit.surrogate, run=replace(found.fit.surrogate.run, shot=None))
    return replace(found, fit=replace(found.fit, surrogate=surrogate))


def row_of(trial: Trial, secret: Hidden, truth: ModelRun, seen: RadiusFromTrace) -> dict[str, Any]:
    """How far the true radius lies from the band, and what the parameters' intervals hold."""
    true_radius = np.interp(seen.times, truth.times, truth.series["radius"])
    half = seen.band.half_width
    there = seen.times > 0
    ratio = np.abs(seen.radius - true_radius)[there] / half[there]
    true_values = true_parameters(rig_case(trial.rig, trial.metal), secret)
    return {
        **vars(trial), "hidden": vars(secret), "within": float((ratio <= 1).mean()),
        "largest_ratio": float(ratio.max()), "end_half_width": float(half[-1] / seen.radius[-1]),
        "end_error": float((seen.radius[-1] - true_radius[-1]) / true_radius[-1]), "final_ratio": float(true_radius[-1] / true_radius[0]),
        "determination": seen.determination, "p_value": seen.misfit.p_value,
        "current_error": seen.current_error, "motion_error": seen.motion_error,
        "held": {name: bool(seen.parameters[name].low <= value <= seen.parameters[name].high) for name, value in true_values.items()},
        "parameters": {name: [p.value, p.low, p.high] for name, p in seen.parameters.items()}, "runs": seen.runs, "settled": seen.settled,
        "shots_of_cost": seen.cost / seen.shot_cost, "ratio": ratio[::10].tolist(),
    }


def halves(kind: str) -> Iterator[tuple[str, range]]:
    """The numbers of the records with which the sizes of the model's errors were chosen, and of those held out."""
    half = RECORDS[kind] // 2
    yield f"{kind}, records 0 to {half - 1}", range(half)
    yield f"{kind}, records {half} to {2 * half - 1}, held out", range(half, 2 * half)


def summaries(rows: list[dict[str, Any]], kinds: Iterable[str]) -> str:
    """What the rows say, of each half by itself."""
    parts = [(title, [row for row in rows if row["kind"] == kind and row["number"] in numbers])
             for kind in kinds for title, numbers in halves(kind)]
    return "\n".join(f"{title}: {summary(chosen) if chosen else 'no rows'}" for title, chosen in parts)


def summary(rows: list[dict[str, Any]]) -> str:
    """What rows say together."""
    count = len(rows)
    wide = {metal: max((row["end_half_width"] for row in rows if row["metal"] == metal), default=0.0) for metal in METALS}
    names = rows[0]["held"]
    return "\n".join([
        f"{100 * np.mean([row['within'] for row in rows]):.1f} % of times within the band; whole traces "
        f"within 1.5 bands: {sum(row['largest_ratio'] <= 1.5 for row in rows)} of {count}",
        "  largest half-width at the end: " + ", ".join(f"{metal} {100 * width:.1f} %" for metal, width in wide.items()),
        "  intervals that hold the hidden value: " + ", ".join(f"{name} {sum(row['held'][name] for row in rows)}" for name in names),
        f"  misfit said: {sum(row['p_value'] < LEVEL for row in rows)}, doubt: {sum(LEVEL <= row['p_value'] < DOUBT for row in rows)}; "
        f"probability of all together {', '.join(f'{value:.2g}' for value in together(rows))}",
        f"  root mean square of the error over the band's deviation: {rms_ratio(rows):.2f}, at the end "
        f"{rms_ratio([{'ratio': row['ratio'][-1:]} for row in rows]):.2f}; cost in shots, largest: "
        f"{max(row['shots_of_cost'] for row in rows):.1f}"])


def together(rows: list[dict[str, Any]]) -> list[float]:
    """Of each draw of the noise: how often right models leave as much misfit in all of its records."""
    draws = sorted({row.get("draw", 0) for row in rows})
    return [combined_misfit(MisfitTest(row["p_value"], math.inf, math.inf) for row in rows if row.get("draw", 0) == draw) for draw in draws]


def rms_ratio(rows: list[dict[str, Any]]) -> float:
    """Root mean square of the error of the radius over the standard deviation that its band says; 1 of a band that is right."""
    return QUANTILE * float(np.sqrt(np.mean([np.square(row["ratio"]).mean() for row in rows])))
