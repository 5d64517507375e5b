"""A run and how its series move with the parameters: a linear model of the shots, which every new run corrects."""
from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from fieldsolve.errors import GeometryError, InputError, SolveError
from fieldsolve.inference.parameters import Parameter
from fieldsolve.inference.runs import ModelRun, ShotModel

STEP_OF_VALUE = 0.03            # least relative step of a parameter: a smaller one drowns in the noise of steps and cells
STEP, LARGEST_STEP = 0.5, 1.5   # of a parameter, in standard deviations of its prior


@dataclass(frozen=True, eq=False)
class Surrogate:
    """Series about a run, linear in the parameters.

    x        (p,) parameters of the run in standard deviations of their priors
    run      the shot there
    slopes   (p, n) derivatives by x of each series, and (p, 1) of each scalar, by name
    widths   (p,) relative standard deviations of the priors; zero for the gain, which changes no shot
    """

    x: np.ndarray
    run: ModelRun
    slopes: Mapping[str, np.ndarray]
    widths: np.ndarray

    def values(self, name: str) -> np.ndarray:
        """The series of the run, (n,), or the scalar, (1,)."""
        return self.run.series[name] if name in self.run.series else np.array([self.run.scalars[name]])

    def at(self, name: str, x: np.ndarray) -> np.ndarray:
        """A series at other parameters."""
        return self.values(name) + (x - self.x) @ self.slopes[name]

    def moved(self, x: np.ndarray, run: ModelRun) -> Surrogate:
        """The same about another run, its slopes corrected by the secant between the two.

            J' = J + (f' - f - J d) (W d)^T / (d^T W d),     d = x' - x,     W_k = (width_k |J_k|)^2

        W says how much the slope of each parameter may have changed: the curvature of a parameter grows with its range.
        Source: C. G. Broyden, Math. Comp. 19, 577 (1965), with J_k and its change measured in these units.
        """
        step, weights = x - self.x, (self.widths * np.linalg.norm(self.slopes["current"], axis=1)) ** 2
        other, length = replace(self, x=x, run=run), float(step @ (weights * step))
        if not length > 0:
            return other
        direction = weights * step / length
        return replace(other, slopes={name: slope + np.outer(direction, other.values(name) - self.at(name, x))
                                      for name, slope in self.slopes.items()})

    def raised(self, offsets: Mapping[str, np.ndarray], run: ModelRun) -> Surrogate:
        """The same with series that are by these offsets larger, and another run in its place, at the same parameters."""
        series = {name: values + offsets.get(name, 0.0) for name, values in self.run.series.items()}
        scalars = {name: value + float(np.ravel(offsets.get(name, 0.0))[0]) for name, value in self.run.scalars.items()}
        return replace(self, run=replace(run, series=series, scalars=scalars))


def build_surrogate(model: ShotModel, x: np.ndarray) -> Surrogate:
    """A coarse run at x and one more for each parameter but the gain."""
    base = model.coarse(x, "the model as the case gives it")
    names = (*base.series, *base.scalars)
    rows = [_slopes(model, x, base, k) if not parameter.is_gain else {} for k, parameter in enumerate(model.parameters)]
    widths = np.array([0.0 if parameter.is_gain else relative_width(parameter) for parameter in model.parameters])
    surrogate = Surrogate(x, base, {}, widths)
    zero = {name: np.zeros_like(surrogate.values(name)) for name in names}
    return replace(surrogate, slopes={name: np.array([row.get(name, zero[name]) for row in rows]) for name in names})


def _slopes(model: ShotModel, x: np.ndarray, base: ModelRun, k: int) -> dict[str, np.ndarray]:
    """Derivatives of all series by one parameter, from the first step that the case can take."""
    errors, length = [], step_length(model.parameters[k])
    for step in (length, -length):
        moved = x.copy()
        moved[k] += step
        try:
            run = model.coarse(moved, f"sensitivity to {model.parameters[k].name}")
        except (InputError, GeometryError, SolveError) as error:
            errors.append(str(error))
            continue
        found = {name: (run.series[name] - base.series[name]) / step for name in base.series}
        return found | {name: np.array([(run.scalars[name] - base.scalars[name]) / step]) for name in base.scalars}
    raise InputError(f"{model.parameters[k].name}: the case cannot be computed with it changed by {length:g} standard deviations of its "
                     f"prior: {errors[-1]}")


def step_length(parameter: Parameter) -> float:
    """Step of a parameter for its sensitivity, in standard deviations of its prior."""
    return min(max(STEP, STEP_OF_VALUE / relative_width(parameter)), LARGEST_STEP)


def relative_width(parameter: Parameter) -> float:
    """Standard deviation of the prior over the value; 1 where that is zero."""
    return parameter.deviation if parameter.logarithmic else parameter.deviation / abs(parameter.value or parameter.deviation)
