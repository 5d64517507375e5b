"""Random rigs, some with one number stretched by decades: each is solved with its energy accounted for, or refused in our own words.

`python -m tests.random_rigs COUNT [FIRST]` tries rigs by their seeds and prints what is wrong with any.
"""
from __future__ import annotations

import random
import sys
import time
import traceback
import warnings
from typing import Any

import fieldsolve as fs
from benchmarks.shot_accuracy.random_rigs import random_rig
from fieldsolve.cases.solve import solve_case_shot
from fieldsolve.errors import FieldError
from fieldsolve.shot.result.promises import MAX_RESIDUAL_HELD, MAX_RESIDUAL_MOVING

QUARTERS = (0.3, 1.0)           # quarter periods that a shot lasts
ACCURACY = 0.1
MOST_SECONDS = 60.0             # of processor time
DECADES = 3.0                   # by which a number is stretched


def rig_tables(seed: int, stretch: float = 0.0, place: int = 0) -> dict[str, dict[str, Any]]:
    """The tables of a seed's rig, one of its quantities times 10 to the power of `stretch`; every other seed's metal moves."""
    tables = {name: dict(table) for name, table in random_rig(seed, motion=seed % 2 == 1, quarters=QUARTERS).tables.items()}
    quantities = [(name, key) for name, table in tables.items() for key, value in table.items()
                  if isinstance(value, str) and value[0] in "-0123456789"]
    name, key = quantities[place % len(quantities)]
    if stretch:
        number, unit = tables[name][key].split()
        tables[name][key] = f"{float(number) * 10 ** stretch:.6g} {unit}"
    return tables


def trouble_with(tables: dict[str, dict[str, Any]]) -> tuple[str, str | None]:
    """How a rig ended, in a word, and what is wrong with it; None where it is solved or refused as it should be."""
    started = time.process_time()
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            shot = solve_case_shot(fs.read_case(tables), ACCURACY, error_bounds=False)
    except FieldError as error:
        return "refused", f"an error of {len(str(error))} characters" if len(str(error)) > 2000 else None
    except BaseException:
        return "fallen", traceback.format_exc(limit=-3)
    seconds, limit = time.process_time() - started, MAX_RESIDUAL_MOVING if tables["run"]["motion"] else MAX_RESIDUAL_HELD
    if seconds > MOST_SECONDS:
        return "slow", f"took {seconds:.0f} s of processor time"
    if float(shot.energy.residual) > limit and not shot.shortfalls:
        return "unbalanced", f"{float(shot.energy.residual):.1e} of the energy is unexplained, and nothing says so"
    return "solved", None


def main(count: int, first: int = 0) -> int:
    """Try rigs; print what is wrong, and at the end how many ended how."""
    ends: dict[str, int] = {}
    for seed in range(first, first + count):
        chance = random.Random(seed)
        tables = rig_tables(seed, chance.choice([0.0, chance.uniform(-DECADES, DECADES)]), chance.randrange(100))
        started = time.process_time()
        end, trouble = trouble_with(tables)
        ends[end] = ends.get(end, 0) + 1
        print(f"{seed} {end} {time.process_time() - started:.1f} s{'' if trouble is None else f': {trouble}'}", flush=True)
    print(", ".join(f"{number} {end}" for end, number in ends.items()))
    return int(bool(set(ends) - {"solved", "refused"}))


if __name__ == "__main__":
    sys.exit(main(*map(int, sys.argv[1:])))
