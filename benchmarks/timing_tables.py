"""`python -m benchmarks timing [--unknowns N ...] [--into FILE]`: what fields and shots cost, beside a reference solver.

The reference solver is scikit-fem with scipy's sparse solver (see `benchmarks.reference_solver`), in the same run.
"""
from __future__ import annotations

import argparse
import math
import multiprocessing
import os
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

from benchmarks import tables
from benchmarks.accuracy_timing import accuracy_lines, accuracy_table
from benchmarks.timing import FREQUENCY, STAGES, Row, ShotRow, reference_run, time_harmonic, time_shot, time_static

SIZES = (10_000, 30_000, 100_000, 200_000, 1_000_000)
REFERENCE_LIMIT = 60.0          # seconds; where the reference solver is expected to take longer it is left out
ACCURACY_LIMIT = 20.0           # seconds after which a row of the table of accuracies is given up
REFERENCE_GROWTH = 1.6          # exponent by which its time is expected to grow
GROWTH_FROM = 25_000        # unknowns from which the growth exponent is taken
START = "<!-- timing table: written by `python -m benchmarks timing --into benchmarks/SPEED.md` -->"
END = "<!-- end of the timing table -->"


def run_in_new_process(row: Callable, *arguments):
    """The row computed in a fresh process."""
    with multiprocessing.get_context("spawn").Pool(1) as pool:
        return pool.apply(row, arguments)


def run_for_a_while(row: Callable, *arguments):
    """The row computed in a fresh process; None where it takes longer than ACCURACY_LIMIT."""
    with multiprocessing.get_context("spawn").Pool(1) as pool:
        try:
            return pool.apply_async(row, arguments).get(ACCURACY_LIMIT)
        except multiprocessing.TimeoutError:
            return None


def rows(measure: Callable, omega: float, sizes: tuple[int, ...]) -> Iterator[Row]:
    """A row a size, with the reference solver while it is expected to end in time; both inductances must agree to 1e-8."""
    expected = 0.0
    for size in sizes:
        row = run_in_new_process(measure, size)
        if expected < REFERENCE_LIMIT:
            inductance, seconds = run_in_new_process(reference_run, size, omega)
            if not abs(inductance / row.inductance - 1) < 1e-8:
                raise ArithmeticError(f"{row.unknowns} unknowns: {row.inductance:.12g} H here, {inductance:.12g} H by the reference solver")
            row = Row(row.unknowns, row.seconds, row.second_solve, row.memory, row.inductance, seconds)
            larger_sizes = [other for other in sizes if other > size]
            expected = sum(seconds.values()) * (larger_sizes[0] / size) ** REFERENCE_GROWTH if larger_sizes else 0.0
        yield row


def growth(found: list[Row]) -> float | None:
    """Exponent of the seconds of a first solve over the unknowns, from GROWTH_FROM to the largest; None where one size counts."""
    sizes_counted = [row for row in found if row.unknowns >= GROWTH_FROM]
    return (
        math.log(sizes_counted[-1].first_solve / sizes_counted[0].first_solve)
        / math.log(sizes_counted[-1].unknowns / sizes_counted[0].unknowns)
        if len(sizes_counted) > 1
        else None
    )


def field_table(found: list[Row]) -> str:
    """Rows of fields in Markdown."""
    header = f"| unknowns | {' | '.join(STAGES)} | first solve | pattern kept | GB | reference: assembly | solve | reference over first |\n"
    lines = []
    for row in found:
        reference_seconds = sum(row.reference.values())
        reference_cells = (
            [f"{row.reference['assembly']:.2f}", f"{row.reference['solve']:.2f}", f"{reference_seconds / row.first_solve:.0f}"]
            if row.reference
            else ["-"] * 3
        )
        cells = [f"{row.unknowns:,}".replace(",", " "), *(f"{row.seconds[stage]:.3f}" for stage in STAGES), f"{row.first_solve:.3f}",
                 f"{row.second_solve:.3f}", f"{row.memory:.2f}", *reference_cells]
        lines.append(f"| {' | '.join(cells)} |\n")
    return header + "| --- " * (len(STAGES) + 7) + "|\n" + "".join(lines)


def shot_table(found: list[ShotRow]) -> str:
    """Rows of shots in Markdown."""
    header = "| shot | unknowns | steps | air remeshed | seconds | GB | reference | reference over seconds |\n" + "| --- " * 8 + "|\n"
    return header + "".join(f"| {row.name} | {row.unknowns} | {row.steps} | {row.remesh_count} | {row.seconds:.1f} | {row.memory:.2f} | "
                            f"{row.reference:.0f} | {row.reference / row.seconds:.0f} |\n" for row in found)


def share_table(found: list[ShotRow]) -> str:
    """Shares of the shots' seconds by stage in per cent, in Markdown."""
    header = f"| stage | {' | '.join(row.name for row in found)} |\n" + "| --- " * (len(found) + 1) + "|\n"
    shares = [{stage: seconds / row.seconds for stage, seconds in row.stages.items()} for row in found]
    lines = [f"| {stage} | {' | '.join(f'{100 * of_shot[stage]:.0f} %' for of_shot in shares)} |\n" for stage in shares[0]]
    rest = " | ".join(f"{100 * (1 - sum(of_shot.values())):.0f} %" for of_shot in shares)
    return header + "".join(lines) + f"| all else | {rest} |\n"


def report(sizes: tuple[int, ...]) -> str:
    """All tables in Markdown."""
    load = os.getloadavg()[0]
    text = [f"Seconds of processor time; {os.cpu_count()} cores, load {load:.1f} at the start, Python {sys.version.split()[0]}."]
    for title, measure, omega in (("At rest", time_static, 0.0), (f"At {FREQUENCY:g} Hz", time_harmonic, 2 * math.pi * FREQUENCY)):
        found = list(rows(measure, omega, sizes))
        exponent = growth(found)
        text.append(f"{title}:\n\n{field_table(found)}" + (f"\nGrowth exponent of the first solve: {exponent:.2f}." if exponent else ""))
    to_accuracy = accuracy_table(list(accuracy_lines(run_for_a_while)))
    text.append(f"Seconds to a requested accuracy, from section to error bounds; a dash where it takes over {ACCURACY_LIMIT:g} s.\n"
                "NGSolve has no error bound: its first mesh set by hand whose inductance is right to the accuracy:\n\n"
                f"{to_accuracy}")
    shots = [run_in_new_process(time_shot, name) for name in ("held", "moving")]
    text.append(f"Shots of an eight-turn coil around an aluminium disc, 60 us:\n\n{shot_table(shots)}")
    text.append(f"Shares of these shots' time by stage:\n\n{share_table(shots)}")
    return "\n\n".join(text)


def main(arguments: list[str]) -> int:
    """Print the tables, or write them between the markers of a file; 0."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks timing",
                                     description="What fields and shots cost, beside a reference solver.")
    parser.add_argument("--unknowns", type=int, nargs="+", default=SIZES, metavar="N", help="sizes of the fields, rising")
    parser.add_argument("--into", type=Path, metavar="FILE", help="write the tables between the markers of FILE")
    options = parser.parse_args(arguments)
    if options.into:
        tables.check_markers(parser, options.into, (START, END))
    text = report(tuple(sorted(options.unknowns)))
    if options.into:
        options.into.write_text(tables.replaced(options.into.read_text(encoding="utf-8"), text, (START, END)), encoding="utf-8")
    else:
        print(text)
    return 0
