"""Shots of a case with other values of its parameters: coarse ones that are cheap and alike, and the one at the case's accuracy."""
from __future__ import annotations

import re
import time as clock
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from fieldsolve.cases.case_file import Case
from fieldsolve.errors import InputError
from fieldsolve.inference.parameters import Parameter, case_with_parameters
from fieldsolve.motion.defaults import default_motions, refine_motions
from fieldsolve.records.comparison.quantities import find_quantity
from fieldsolve.rig.coil import empty_inductance
from fieldsolve.shot.problem import ShotProblem
from fieldsolve.shot.solve import solve_shot_problem

if TYPE_CHECKING:
    from fieldsolve.shot.result.shot import Shot

INSTANTS = 601                      # of the common grid of times
ACCURACY = 3e-3                     # of a shot whose case gives none
COARSE_STEPS, COARSE_MESH = 3e-2, 0.1           # accuracies of the coarse shots
EMPTY = re.compile(r"inductance of (.+) empty")          # a bridge's reading before the shot, as the log names it
BRIDGE_ACCURACY = 1e-3
FIELD_RATE, FIELD_INSTANTS = "field rate of ", 121         # name of the series of a loop's channel, and instants of its flux density
COARSE_CELLS = 0.5                  # of the cells of moving metal, as a number across it


@dataclass(frozen=True, eq=False)
class ModelRun:
    """One shot on a common grid of times.

    times    (n,) seconds
    series   (n,) by name: current (A), current_rate (A/s), radius (m) of the part, coil_radius (m), flux (Wb) of the coils;
             voltage (V) of the first bank and speed (m/s) of the part where there are such; of each loop, its rate (T/s) under FIELD_RATE
             and the channel's name, and its axial flux density (T) under that name alone
    scalars  numbers of the shot by name, for what was measured after it
    end      seconds up to which the shot was followed within the model
    cost     seconds of processor time that it took
    shot     itself, of a full run
    """

    times: np.ndarray
    series: Mapping[str, np.ndarray]
    scalars: Mapping[str, float]
    end: float
    cost: float
    shot: Shot | None = None


@dataclass(frozen=True, eq=False, kw_only=True)
class ShotModel:
    """Shots of a case as a function of its parameters.

    case, parameters
    part, coil    whose radius and whose current are followed
    scalars       names of what is measured after the shot, see `measurable_quantities`
    loops         (r, z) in metres where loops measure the flux density's rate, by channel; None at the centre
    known         coarse runs by x, which are not computed twice
    meshes        meshes by the outlines of the parts, so that runs that differ in the circuit or the metal alone share one
    bridge        inductances of empty coils by name and outlines
    progress      called with a text before each shot
    """

    case: Case
    parameters: tuple[Parameter, ...]
    part: str
    coil: str
    scalars: tuple[str, ...] = ()
    loops: Mapping[str, tuple[float, float] | None] = field(default_factory=dict)
    known: dict[tuple[float, ...], ModelRun] = field(default_factory=dict)
    meshes: dict[Any, Any] = field(default_factory=dict)
    bridge: dict[Any, float] = field(default_factory=dict)
    progress: Callable[[str], None] = lambda text: None

    def coarse(self, x: np.ndarray, text: str) -> ModelRun:
        """The coarse run at x; one that is known is handed back.  The gain leaves it as it is."""
        key = tuple(round(float(value), 9) for parameter, value in zip(self.parameters, x, strict=True) if not parameter.is_gain)
        if key not in self.known:
            self.progress(text)
            self.known[key] = self._solve(x, coarse=True)
        return self.known[key]

    def full(self, x: np.ndarray, text: str) -> ModelRun:
        """The run at the case's accuracy, with the shot."""
        self.progress(text)
        return self._solve(x, coarse=False)

    def _solve(self, x: np.ndarray, coarse: bool) -> ModelRun:
        started = clock.process_time()
        case = case_with_parameters(self.case, self.parameters, x)
        problem = shot_problem(case, coarse)
        if coarse:
            outlines = tuple(zone for part in case.parts for zone in part.zones)
            mesh = self.meshes.get(outlines)
            shot = solve_shot_problem(problem if mesh is None else replace(problem, mesh=mesh))
            self.meshes.setdefault(outlines, shot.instants[0].mesh)
        else:
            shot = solve_shot_problem(problem)
        if shot.interrupted:                    # by Ctrl-C: a part of a shot is no run
            raise KeyboardInterrupt
        before = {name: self._bridge_reading(case, name) for name in self.scalars if EMPTY.fullmatch(name)}
        after = tuple(name for name in self.scalars if name not in before)
        run = sampled(shot, self.part, self.coil, case.run.end_time, clock.process_time() - started, after, keep=not coarse)
        return replace(run, scalars={**run.scalars, **before}, series={**run.series, **loop_series(shot, self.loops, run.times)})

    def _bridge_reading(self, case: Case, name: str) -> float:
        """The inductance in henry that a bridge reads at an empty coil, which is computed once for each outline."""
        coil = next((part for part in case.parts if part.name == EMPTY.fullmatch(name)[1] and part.is_coil), None)
        if coil is None:
            raise InputError(f"measured {name!r}: there is no such coil")
        key = (name, coil.zones)
        if key not in self.bridge:
            self.bridge[key] = empty_inductance(case.section, (coil,), BRIDGE_ACCURACY)
        return self.bridge[key]


def shot_problem(case: Case, coarse: bool) -> ShotProblem:
    """The shot of a case without error bounds; a coarse one with half the cells across moving metal and fewer steps."""
    accuracy = case.run.accuracy or ACCURACY
    motions = {} if not case.run.motion else default_motions(case.section, case.former)[0]
    motions = {name: motion for name, motion in motions.items() if name not in case.held_parts}
    return ShotProblem(section=case.section, bank=case.banks, end_time=case.run.end_time, heating=case.run.heating, leads=case.leads,
                       crowbar=case.crowbar, error_bounds=False,
                       motion=(refine_motions(motions, COARSE_CELLS) if coarse else motions) or False,
                       accuracy=max(accuracy, COARSE_STEPS) if coarse else accuracy,
                       mesh_accuracy=max(accuracy, COARSE_MESH) if coarse else None)


def sampled(shot: Shot, part: str, coil: str, end_time: float, cost: float = 0.0, scalars: tuple[str, ...] = (),
            keep: bool = False) -> ModelRun:
    """A shot on the common grid of times; behind its end it stays as it was last."""
    from scipy.interpolate import CubicHermiteSpline, PchipInterpolator

    times = np.linspace(0.0, end_time, INSTANTS)
    within = np.minimum(times, shot.times[-1])
    current = CubicHermiteSpline(shot.times, shot.series("current", coil), shot.series("current_rate", coil))
    series = {"current": current(within), "current_rate": current(within, 1),
              "radius": PchipInterpolator(shot.times, _radius(shot, part))(within),
              "coil_radius": PchipInterpolator(shot.times, _radius(shot, coil))(within),
              "flux": PchipInterpolator(shot.times, sum(shot.series("flux", name) for name in shot.coils))(within)}
    for name, quantity, place in (("voltage", "voltage", next(iter(shot.bank_places), "")), ("speed", "speed", part)):
        if (quantity, place) in shot.history.values:
            series[name] = PchipInterpolator(shot.times, shot.series(quantity, place))(within)
    numbers = {name: find_quantity(shot, name).evaluate(shot) for name in scalars}
    end = float(shot.times[-1]) if shot.validity_end is None else float(shot.validity_end)
    return ModelRun(times, series, numbers, end, cost, shot if keep else None)


def loop_series(shot: Shot, loops: Mapping[str, tuple[float, float] | None], times: np.ndarray) -> dict[str, np.ndarray]:
    """Axial flux density and its rate at the places of loops, on these times."""
    from scipy.interpolate import CubicSpline

    found = {}
    for name, place in loops.items():
        chosen = shot.times if place is None else shot.times[np.unique(np.linspace(0, len(shot.times) - 1, FIELD_INSTANTS).astype(int))]
        values = shot.series("field", "centre") if place is None else [
            float(np.ravel(shot.field_at(float(time)).flux_density(*place)[1])[0]) for time in chosen]
        spline, within = CubicSpline(chosen, values), np.minimum(times, shot.times[-1])
        found |= {name: spline(within), FIELD_RATE + name: spline(within, 1)}
    return found


def _radius(shot: Shot, name: str) -> np.ndarray:
    """Outer radius over the shot's instants; that of the section where the part is held."""
    if ("outer_radius", name) in shot.history.values:
        return shot.series("outer_radius", name)
    return np.full(len(shot.times), shot.section.part(name).bounds[1])


def check_part(case: Case, part: str | None, bodies: Sequence[str]) -> str:
    """The part whose radius is followed: by default the only body.  InputError where it is unknown or a choice is needed."""
    if part is None and len(bodies) == 1:
        return bodies[0]
    names = [each.name for each in case.parts]
    if part not in names:
        raise InputError(f"part = {part!r}: {'say which' if part is None else 'there is no such part'}; there are {', '.join(names)}")
    return part
