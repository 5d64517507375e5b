"""The estimates that a recipe reads, recorded, and read again with one of them changed by its error bound."""
from __future__ import annotations

from collections.abc import Callable
from contextlib import ExitStack
from dataclasses import dataclass
from typing import Any
from unittest.mock import patch

import numpy as np

import fieldsolve as fs

ESTIMATE_METHODS = (
    "flux_density", "peak_field", "inductance", "mutual_inductance", "flux_linkage", "energy", "axial_force", "radial_force",
    "dipole_moment", "mean_flux_density", "resistance", "resistance_change", "inductance_change", "voltage", "net_current", "loss",
    "peak",
)


@dataclass(frozen=True)
class _RecordedEstimate:
    """An estimate that a recipe read: its real components (k, ...), how it is built from them, and its error bounds (...)."""

    parts: np.ndarray
    build: Callable[[np.ndarray], Any]
    error: float | np.ndarray


class Recorder:
    """The fields that a recipe solved and the estimates that it read, in order; a later run gets the same, one of them perturbed."""

    def __init__(self):
        self.fields: list = []
        self.estimates: list[_RecordedEstimate] = []
        self.begin(None)

    def begin(self, perturbed: tuple[int, ...] | None) -> None:
        """Start a run; `perturbed` is the number of an estimate, and its component and entry to which the error bound is added."""
        self.perturbed, self._field_count, self._estimate_count = perturbed, 0, 0

    def field(self, solve: Callable[[], Any]):
        """The next field, solved for the first time only."""
        if self._field_count == len(self.fields):
            field = solve()
            has_bounds = bool(getattr(field, "comparisons", ()))                 # a shot's own, from its companion run
            self.fields.append(field.refined() if hasattr(field, "refined") and not has_bounds else field)
        self._field_count += 1
        return _recorded(self.fields[self._field_count - 1], self)

    def estimate(self, evaluate: Callable[[], _RecordedEstimate]):
        """The next estimate, evaluated the first time only."""
        if self._estimate_count == len(self.estimates):
            self.estimates.append(evaluate())
        k, self._estimate_count = self._estimate_count, self._estimate_count + 1
        parts = self.estimates[k].parts
        if self.perturbed and self.perturbed[0] == k:
            parts = parts.copy()
            parts[self.perturbed[1:]] += np.broadcast_to(self.estimates[k].error, parts.shape[1:])[self.perturbed[2:]]
        return self.estimates[k].build(parts)


def compute_recorded(recipe: Callable[[], dict], recorder: Recorder, perturbed: tuple[int, ...] | None) -> dict:
    """What the recipe computes; with `perturbed` from the fields and estimates of the first run, one of them changed."""
    recorder.begin(perturbed)

    def recorded(solve):
        return lambda *arguments, **keywords: recorder.field(lambda: solve(*arguments, **keywords))
    with ExitStack() as stack:
        for name in ("solve_static", "solve_harmonic", "solve_transient", "solve_shot"):
            stack.enter_context(patch.object(fs, name, recorded(getattr(fs, name))))
        return recipe()


def _recorded(field, recorder: Recorder):
    """A field, or each field of a sweep, whose estimates go through the recorder."""
    return [_RecordedField(one, recorder) for one in field] if hasattr(field, "frequencies") else _RecordedField(field, recorder)


class _RecordedField:
    """A field or a shot whose estimates go through the recorder."""

    def __init__(self, field, recorder: Recorder):
        self._field, self._recorder = field, recorder

    def __getattr__(self, name: str):
        attribute = getattr(self._field, name)
        if name == "flux_density":
            return self._flux_density
        if name == "field_at":
            return lambda time: _RecordedField(attribute(time), self._recorder)
        return self._estimate(attribute) if name in ESTIMATE_METHODS else attribute

    def _estimate(self, method):
        def evaluate(*arguments, **keywords) -> _RecordedEstimate:
            estimate = method(*arguments, **keywords)
            if isinstance(estimate, complex):
                return _RecordedEstimate(np.array([estimate.real, estimate.imag]), lambda parts: complex(*parts), estimate.error)
            return _RecordedEstimate(
                np.array([estimate.value]), lambda parts: fs.Estimate(parts[0], 0.0, estimate.unit, time=estimate.time), estimate.error
            )
        return lambda *arguments, **keywords: self._recorder.estimate(lambda: evaluate(*arguments, **keywords))

    def _flux_density(self, r, z):
        def evaluate() -> _RecordedEstimate:
            B = np.stack(self._field.flux_density(r, z))
            phasors = np.iscomplexobj(B)
            return _RecordedEstimate(np.concatenate([B.real, B.imag]) if phasors else B,
                                     lambda parts: tuple(parts[:2] + 1j * parts[2:] if phasors else parts),
                                     self._field.flux_density_error(r, z))
        return self._recorder.estimate(evaluate)
