"""`python -m benchmarks peers`: our figures beside those of an independent library, printed or written into PEERS.md."""
from __future__ import annotations

import argparse
import importlib.util
import sys
from collections.abc import Iterable
from itertools import groupby
from pathlib import Path

from benchmarks import tables
from benchmarks.peers.cases import CASES, PeerRow

MARKERS = ("<!-- comparison: written by `python -m benchmarks peers --into benchmarks/PEERS.md` -->", "<!-- end of the comparison -->")
MISSING = "NGSolve is not installed: nothing was compared; pip install \"fieldsolve[peers]\" or pip install ngsolve"


def main(arguments: list[str]) -> int:
    """Print the comparison; 0 if every row is within its tolerance or the library is missing, 1 if not."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks peers", description="Compare with an independent finite-element library.")
    parser.add_argument("case", nargs="*", metavar="case", help=f"cases to run, of: {', '.join(CASES)} (default: all)")
    parser.add_argument("--into", type=Path, metavar="FILE", help="write the table of all cases between the markers of FILE")
    options = parser.parse_args(arguments)
    unknown = [name for name in options.case if name not in CASES]
    if unknown:
        parser.error(f"no case {', '.join(unknown)}; there are: {', '.join(CASES)}")
    if options.into:
        tables.check_markers(parser, options.into, MARKERS)
    if importlib.util.find_spec("ngsolve") is None:
        print(MISSING)
        return 0
    rows = []
    for name in options.case or CASES:
        for row in CASES[name]():
            rows.append(row)
            print(line(row), flush=True)
    if options.into:
        options.into.write_text(tables.replaced(options.into.read_text(encoding="utf-8"), markdown(rows), MARKERS), encoding="utf-8")
    print(f"{sum(row.passed for row in rows)} of {len(rows)} quantities within tolerance", file=sys.stderr)
    return 0 if all(row.passed for row in rows) else 1


def line(row: PeerRow) -> str:
    """One line of the running table."""
    return (f"{row.case:46} {row.quantity:32} {row.ours:14.8g} +- {row.our_error:7.1e}  {row.theirs:14.8g} +- {row.their_error:7.1e} "
            f"{row.deviation:8.1e} {row.tolerance:8.1e} {'' if row.passed else 'OUT'}  {row.our_cost} | {row.their_cost}")


def markdown(rows: Iterable[PeerRow]) -> str:
    """A table a case."""
    return "\n".join(_case_table(case, list(group)) for case, group in groupby(rows, key=lambda row: row.case))


def _case_table(case: str, rows: list[PeerRow]) -> str:
    head = (f"**{case}**\n\nProcessor time: fieldsolve {rows[0].our_cost}; NGSolve {rows[0].their_cost}\n\n"
            "| quantity | fieldsolve | its error bound | NGSolve | its change | deviation | tolerance |\n" + "| --- " * 7 + "|\n")
    return head + "".join(
        f"| {row.quantity} | {row.ours:.7g} | {row.our_error:.1e} | {row.theirs:.7g} | {row.their_error:.1e} | "
        f"{_deviation(row)} | {row.tolerance:.1e} |\n" for row in rows)


def _deviation(row: PeerRow) -> str:
    return f"{row.deviation:.1e}" if row.passed else f"**{row.deviation:.1e}**"
