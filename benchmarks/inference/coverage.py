"""`python -m benchmarks.inference coverage FOLDER`: the kept fits with other noise, and with the model's errors as they are now.

A record's shots are those of its fit; its posterior is computed anew, which takes no shot.  One draw of the noise for each record says
the share of times within the band to about 3 % only; and a changed size or shape of the model's errors is tried in seconds.
"""
from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

import fieldsolve as fs
from benchmarks.inference.kept import kept, record_model, write_rows
from benchmarks.inference.radius import Trial, row_of, trials, true_shot
from benchmarks.inference.synthetic import record_of, rig_case
from fieldsolve.inference.fit import ShotFit, observe, stress_slopes, weigh
from fieldsolve.inference.radius import RadiusFromTrace, radius_result
from fieldsolve.inference.record_fit import RecordFit
from fieldsolve.inference.runs import ShotModel
from fieldsolve.inference.samples import sampled_current

ROWS = "coverage.jsonl"


def run_coverage(folder: Path, kinds: Iterable[str], draws: int, noise: float) -> list[dict[str, Any]]:
    """A row for each draw of the noise of each record whose fit the folder has; they are written, too."""
    rows = [row for kind in kinds for trial in trials(kind) if fit_path(folder, trial).exists()
            for row in trial_rows(folder, trial, draws, noise)]
    write_rows(folder / ROWS, rows)
    return rows


def trial_rows(folder: Path, trial: Trial, draws: int, noise: float) -> list[dict[str, Any]]:
    """The rows of one record."""
    truth, (secret, _) = true_shot(folder, trial), trial.draw()
    found = kept(fit_path(folder, trial), dict)
    generators = (np.random.default_rng([trial.number, len(trial.kind), draw]) for draw in range(draws))
    return [row_of(trial, secret, truth, seen_anew(rig_case(trial.rig, trial.metal), record_of(truth, secret.gain, rng, noise), found))
            | {"draw": draw} for draw, rng in enumerate(generators)]


def fit_path(folder: Path, trial: Trial) -> Path:
    """Where the fit of a record is kept."""
    return folder / f"fit_{trial.name}.pickle"


def seen_anew(case: fs.Case, record: fs.Record, found: RecordFit) -> RadiusFromTrace:
    """The radius from another record of the same shot."""
    model = record_model(case, record)
    return radius_result(model, record, replace(found, fit=weighed_anew(model, record, found)))


def weighed_anew(model: ShotModel, record: fs.Record, found: RecordFit) -> ShotFit:
    """The posterior of another record with the same shots."""
    fit, samples = found.fit, sampled_current(record, found.first.run)
    seen = observe(model, fit.surrogate, samples, stress_slopes(model, fit.surrogate))
    seen = replace(seen, numerical=fit.observation.numerical, numerical_radius=fit.observation.numerical_radius)
    return weigh(seen, fit.surrogate, fit.posterior.mean, fit.iterations, fit.settled)
