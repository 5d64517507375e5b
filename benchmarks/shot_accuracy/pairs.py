"""`python -m benchmarks errors shots`: true errors of shots of random rigs, against reference runs, and the errors that they state."""
from __future__ import annotations

import argparse
import math
import warnings
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from statistics import median

import numpy as np

from benchmarks.shot_accuracy.quantities import SampledSeries, compare_series, field_points, numbers
from benchmarks.shot_accuracy.references import (
    ReferenceShot,
    load_references,
    make_references,
    problem_of,
    with_kept_metals,
)
from fieldsolve.cases.case_file import read_case
from fieldsolve.shot.solve import solve_shot_problem

SMALLEST_SHARE_WITHIN = 0.95            # of the pairs: true error within the error bound
MEDIAN_RATIOS = (1.5, 8.0)              # least and largest median of bound over true error
SMALLEST_RATIO = 1 / 3                  # of any pair
REFERENCE_SHARE = 0.2                   # of bound or true error, whichever is larger: how large a reference's own error may be
REFERENCE_REDUCTION = 0.5               # of the difference to the run between: what is taken for the reference's own error
GOALS = {"peak current": "peak current", "peak field": "peak field", "shape": "ratio"}     # kinds with goals: what a shot calls them
MIN_TRUE_ERROR = 1e-9                   # relative: a smaller true error is rounding


@dataclass(frozen=True)
class ShotPair:
    """True error and error bound of one number of a shot, and how far its reference may be off itself, all in the number's unit."""

    rig: ReferenceShot
    kind: str
    name: str
    value: float
    true_error: float
    error_bound: float
    reference_error: float

    @property
    def ratio(self) -> float:
        """Error bound over true error; at least 1 where the bound holds."""
        return self.error_bound / self.true_error if self.true_error > MIN_TRUE_ERROR * abs(self.value) else math.inf

    @property
    def counts(self) -> bool:
        """Whether there is a bound, and the reference is good enough to tell."""
        return math.isfinite(self.error_bound) and self.reference_error <= REFERENCE_SHARE * max(self.true_error, self.error_bound)


@dataclass(frozen=True)
class PairStatistics:
    """Of some pairs: how many count, the share within their bounds, the median and the least of bound over true error."""

    count: int
    share_within: float
    median_ratio: float
    least_ratio: float

    @property
    def hold(self) -> bool:
        """Whether the bounds hold often enough, are near enough, and are nowhere far off."""
        return (self.share_within >= SMALLEST_SHARE_WITHIN and MEDIAN_RATIOS[0] <= self.median_ratio <= MEDIAN_RATIOS[1]
                and self.least_ratio >= SMALLEST_RATIO)


def solve_rig(reference: ReferenceShot, accuracy: float | None = None):
    """The shot of a reference's rig, with the default accuracy or another."""
    problem = problem_of(read_case(with_kept_metals(reference.tables)))
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")                        # of an accuracy that is not reached: see `missed_goals`
        return solve_shot_problem(problem if accuracy is None else replace(problem, accuracy=accuracy))


def shot_pairs(shot, reference: ReferenceShot) -> Iterator[ShotPair]:
    """All pairs of a shot and its reference; none where motion ended either of them early."""
    if shot.stop_reason or reference.settings["ended"]:
        return
    for number in numbers(shot):
        if number.name in reference.numbers:
            value, between = reference.numbers[number.name]
            yield ShotPair(reference, number.kind, number.name, value, abs(number.value - value), number.error,
                           REFERENCE_REDUCTION * abs(value - between))
    yield from _series_pairs(shot, reference)
    yield from _field_pairs(shot, reference)


def missed_goals(shot, reference: ReferenceShot) -> Iterator[str]:
    """Goals of a shot that are off by more than its accuracy, though the shot does not say so of them."""
    for number in numbers(shot):
        if number.kind in GOALS and number.name in reference.numbers and not shot.stop_reason and _is_goal(number.name):
            (value, between), (word, place) = reference.numbers[number.name], (GOALS[number.kind], number.name.partition(" of ")[2])
            allowed = shot.accuracy * abs(value) + REFERENCE_REDUCTION * abs(value - between)
            if abs(number.value - value) > allowed and not any(word in said and place in said for said in shot.shortfalls):
                yield f"{number.name} is off by {abs(number.value / value - 1):.1e} without a word"


def _is_goal(name: str) -> bool:
    """Whether a number of these kinds is promised: of the fields that of a bore, of the shapes the radius."""
    return name.startswith(("current of ", "field of bore", "radius of "))


def _series_pairs(shot, reference: ReferenceShot) -> Iterator[ShotPair]:
    for sampled, between in reference.series:
        true_error, bound = compare_series(shot, sampled)
        yield ShotPair(reference, "series", f"{sampled.name} at {1e6 * sampled.time:.3g} us", sampled.values[2], true_error, bound,
                       REFERENCE_REDUCTION * _largest_difference(sampled, between))


def _largest_difference(one: SampledSeries, other: SampledSeries) -> float:
    return float(np.abs(np.subtract(one.values, other.values)).max())


def _field_pairs(shot, reference: ReferenceShot) -> Iterator[ShotPair]:
    r, z = field_points(shot.section)
    for time, sampled, between in reference.fields:
        field = shot.field_at(time)
        true_errors, bounds = np.hypot(*(np.array(field.flux_density(r, z)) - sampled)), field.flux_density_error(r, z)
        for k, place in enumerate(("above", "below", "beside")):
            yield ShotPair(reference, "field", f"B {place} at {1e6 * time:.3g} us", float(np.hypot(*sampled[:, k])), float(true_errors[k]),
                           float(bounds[k]), REFERENCE_REDUCTION * float(np.hypot(*(sampled - between)[:, k])))


def pair_statistics(pairs: Iterable[ShotPair]) -> PairStatistics | None:
    """Of the pairs that count; None where none does."""
    ratios = [pair.ratio for pair in pairs if pair.counts]
    if not ratios:
        return None
    return PairStatistics(len(ratios), sum(ratio >= 1 for ratio in ratios) / len(ratios), median(ratios), min(ratios))


# --- the table ---------------------------------------------------------------------------------------------------


def main(arguments: list[str]) -> int:
    """Print the pairs and their statistics; 0 if the bounds hold on the development seeds and on those held out."""
    options = _parse(arguments)
    if options.make:
        for motion in (False,) if options.held else (False, True):
            for path in make_references(motion, options.seed):
                print(f"made {path}", flush=True)
        return 0
    pairs, missed = [], []
    for reference in load_references():
        if _is_chosen(reference, options):
            if reference.is_stale:
                print(f"{reference.seed}: the data of its metals have changed: make it anew with --make")
                continue
            shot = solve_rig(reference, options.accuracy)
            found = list(shot_pairs(shot, reference))
            pairs, missed = [*pairs, *found], [*missed, *(f"{reference.seed}: {text}" for text in missed_goals(shot, reference))]
            print("\n".join(map(_line, found)), flush=True)
    code = _print_statistics(pairs)
    print("\n".join(["", *missed, f"{len(missed)} goals off by more than the accuracy without a word"]))
    return 1 if missed else code


def _print_statistics(pairs: list[ShotPair]) -> int:
    groups = {"development": [pair for pair in pairs if not pair.rig.held_out], "held out": [pair for pair in pairs if pair.rig.held_out]}
    groups |= {label: [pair for pair in pairs if pair.rig.motion is motion] for label, motion in (("held", False), ("moving", True))}
    groups |= {kind: [pair for pair in pairs if pair.kind == kind] for kind in sorted({pair.kind for pair in pairs})}
    found = {label: pair_statistics(group) for label, group in groups.items()}
    print(f"\n{'':22} {'pairs':>6} {'within':>8} {'median':>8} {'least':>8}   of bound over true error")
    for label, statistics in found.items():
        if statistics:
            print(f"{label:22} {statistics.count:6} {100 * statistics.share_within:7.1f}% {statistics.median_ratio:8.2f} "
                  f"{statistics.least_ratio:8.2g}")
    decisive = [found[label] for label in ("development", "held out") if found[label]]
    return 0 if decisive and all(statistics.hold for statistics in decisive) else 1


def _line(pair: ShotPair) -> str:
    remark = "OUT" if pair.ratio < 1 else ""
    if not pair.counts:
        remark = "reference too coarse, not counted" if math.isfinite(pair.error_bound) else "no bound, not counted"
    rig = f"{pair.rig.seed} {'moving' if pair.rig.motion else 'held'} {'test' if pair.rig.held_out else 'dev'}"
    scale = max(abs(pair.value), 1e-300)
    return (f"{rig:18} {pair.kind:18} {pair.name:40} {pair.value:11.4g} true {pair.true_error / scale:8.1e} bound "
            f"{pair.error_bound / scale:8.1e} ratio {pair.ratio:8.3g} {remark}").rstrip()


def _is_chosen(reference: ReferenceShot, options: argparse.Namespace) -> bool:
    if options.seed:
        return reference.seed in options.seed
    return not (options.development and reference.held_out) and not (options.held and reference.motion)


def _parse(arguments: list[str]) -> argparse.Namespace:
    parser = argparse.ArgumentParser(prog="python -m benchmarks errors shots",
                                     description="Compare true errors of shots with their bounds.")
    parser.add_argument("--make", action="store_true", help="make the reference runs that are missing (hours)")
    parser.add_argument("--development", action="store_true", help="only the rigs that the error model may be fitted on")
    parser.add_argument("--held", action="store_true", help="only shots with metal held")
    parser.add_argument("--seed", type=int, action="append", default=[], help="only this rig (may be repeated)")
    parser.add_argument("--accuracy", type=float, help="of the shots, in place of the default")
    return parser.parse_args(arguments)
