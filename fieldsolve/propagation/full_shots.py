"""The full shots behind a surface: at the best estimates, with one input changed up and down, and at random."""
from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np

from fieldsolve.cases.solve import solve_case_shot
from fieldsolve.errors import FieldError, GeometryError, InputError
from fieldsolve.propagation.inputs import UncertainCase, changed_case, is_of_circuit
from fieldsolve.propagation.outputs import OutputVector

SMALLEST_STEP = 0.01       # of a length or a metal's number: the cells change with it, and a smaller step would show their noise
MOVING_ACCURACY = 3e-2     # of the shots: their peaks are 0.1 % off, all in the same way
HELD_ACCURACY = 3e-3       # takes little longer, and the peak in the bore moves less with the cells
CHECK_STREAM, SCATTER_STREAM = 1, 2           # numbers of streams of draws; 0 are those of the Monte Carlo

Report = Callable[[str], None]


@dataclass(frozen=True, eq=False)
class FullShots:
    """Computes the shots of one uncertain case.

    accuracy  relative, of each;  held  whether the metal is held still;  report  called with what is computed next
    """

    uncertain: UncertainCase
    accuracy: float
    held: bool
    report: Report

    def solve(self, values: dict[str, float], words: str):
        """The shot with inputs changed; KeyboardInterrupt where it was interrupted."""
        return self._solve(values, words, self.accuracy, False)

    def solve_best(self, accuracy: float, words: str):
        """The shot at the best estimates, to an accuracy, with its error bounds."""
        return self._solve({}, words, accuracy, True)

    def _solve(self, values: dict[str, float], words: str, accuracy: float, error_bounds: bool):
        self.report(words)
        shot = solve_case_shot(changed_case(self.uncertain.case, values), accuracy, self.held, error_bounds=error_bounds)
        if shot.interrupted:
            raise KeyboardInterrupt("a shot of the bands was interrupted")
        return shot

    def changed_by_one(self, number: int, vector: OutputVector) -> tuple[float, np.ndarray, np.ndarray]:
        """Step of an input, and the outputs of the shots with it changed by plus and minus that; InputError where no step can be taken."""
        key, value = self.uncertain.keys[number], float(self.uncertain.values[number])
        errors = []
        for step in _steps(key, value, float(self.uncertain.uncertainties[number])):
            try:
                ahead, behind = (vector.evaluate(self.solve({key: value + sign * step}, f"{key} {word}"))
                                 for sign, word in ((1, "up"), (-1, "down")))
            except (InputError, GeometryError) as error:
                errors.append(str(error))
            else:
                return step, ahead, behind
        raise InputError(f"{key}: the case cannot be computed with it changed by its uncertainty: {errors[-1]}")

    def at_random(self, count: int, seed: int, vector: OutputVector) -> tuple[np.ndarray, np.ndarray, list[str]]:
        """Inputs (n, d) and outputs (n, m) of `count` shots at random, fewer where some failed, and why those failed."""
        inputs, outputs, failed = [], [], []
        for number, values in enumerate(self.uncertain.draw(count, seed, CHECK_STREAM), start=1):
            try:
                shot = self.solve(dict(zip(self.uncertain.keys, values, strict=True)), f"shot {number} of {count} at random")
            except FieldError as error:
                failed.append(str(error))
            else:
                inputs.append(values)
                outputs.append(vector.evaluate(shot))
        shape = (len(inputs), len(self.uncertain.keys))
        return np.reshape(inputs, shape), np.reshape(outputs, (len(inputs), vector.size)), failed


def _steps(key: str, value: float, uncertainty: float) -> Iterator[float]:
    """Steps to try: the half-width of a rectangular distribution of this uncertainty, of what changes the mesh at least SMALLEST_STEP."""
    wide = math.sqrt(3) * uncertainty
    if not is_of_circuit(key):
        yield max(wide, SMALLEST_STEP * abs(value))
    yield from (wide, uncertainty, 0.5 * uncertainty)


def scatter_of(residuals: np.ndarray, count: int, seed: int, batch: int) -> np.ndarray:
    """What full shots differ by from the surface, drawn (count, m) from n residuals (n, m):  mean + s sqrt(1 + 1/n) t_{n-1}.

    Source: JCGM 101:2008, 6.4.9.
    """
    n = len(residuals)
    if not n:
        return np.zeros((count, residuals.shape[1]))
    student = np.random.default_rng(np.random.SeedSequence((seed, SCATTER_STREAM, batch))).standard_t(n - 1, (count, 1))
    return residuals.mean(axis=0) + residuals.std(axis=0, ddof=1) * math.sqrt(1 + 1 / n) * student


def scatter_moments(residuals: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Mean and variance (m,) of what `scatter_of` draws:  s^2 (1 + 1/n) (n - 1) / (n - 3)."""
    n = len(residuals)
    if not n:
        return np.zeros(residuals.shape[1]), np.zeros(residuals.shape[1])
    return residuals.mean(axis=0), residuals.var(axis=0, ddof=1) * (1 + 1 / n) * (n - 1) / (n - 3)
