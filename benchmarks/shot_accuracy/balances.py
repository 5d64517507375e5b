"""`python -m benchmarks balances [--moving] [--seeds FIRST LAST]`: do the energy balances of random rigs close?"""
from __future__ import annotations

import argparse
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from benchmarks.shot_accuracy.random_rigs import RandomRig, random_rig
from fieldsolve.cases.case_file import read_case
from fieldsolve.cases.solve import solve_case_shot
from fieldsolve.errors import FieldError
from fieldsolve.shot.result.promises import MAX_RESIDUAL_HELD, MAX_RESIDUAL_MOVING

ACCURACY = 3e-3


@dataclass(frozen=True)
class Balance:
    """What came of a rig: unexplained share of the energy and its time in s, steps, seconds, and what the shot says of its promises."""

    rig: RandomRig
    residual: float
    time: float
    steps: int
    seconds: float
    shortfalls: tuple[str, ...]


def balances(seeds: Iterable[int], motion: bool, accuracy: float = ACCURACY) -> Iterator[Balance | tuple[RandomRig, str]]:
    """The balance of each seed's rig, which needs no error bounds; of one that cannot be computed the rig and why."""
    for seed in seeds:
        rig = random_rig(seed, motion)
        try:
            shot = solve_case_shot(read_case(rig.tables), accuracy, error_bounds=False)
        except FieldError as error:
            yield rig, f"{type(error).__name__}: {error}"
            continue
        residual = shot.energy.residual
        yield Balance(rig, float(residual), residual.time, shot.steps, shot.wall_time, shot.shortfalls)


def main(arguments: list[str]) -> int:
    """Print the balances; 0 if all close or the shots say that they do not."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks balances", description="Energy balances of shots of random rigs.")
    parser.add_argument("--seeds", nargs=2, type=int, default=(0, 100), metavar=("FIRST", "LAST"), help="from FIRST to before LAST")
    parser.add_argument("--moving", action="store_true", help="let the metal move")
    options = parser.parse_args(arguments)
    limit, over, silent = MAX_RESIDUAL_MOVING if options.moving else MAX_RESIDUAL_HELD, 0, 0
    for found in balances(range(*options.seeds), options.moving):
        if isinstance(found, tuple):
            print(f"{found[0].seed:4} {', '.join(found[0].kinds):60} {found[1]}", flush=True)
            silent += 1
            continue
        is_over = found.residual > limit
        over, silent = over + is_over, silent + (is_over and not found.shortfalls)
        print(f"{found.rig.seed:4} {', '.join(found.rig.kinds):60} {found.residual:8.2e} at {1e6 * found.time:6.1f} us "
              f"{found.steps:4} steps {found.seconds:6.1f} s {'; '.join(found.shortfalls)}", flush=True)
    print(f"{over} balances over {limit:g}; {silent} without a word or failed")
    return 1 if silent else 0
