"""`python -m benchmarks.studies [NAME ...]`: computes the studies and writes each table into its page; all of them by default."""
from __future__ import annotations

import argparse
import sys
from collections.abc import Callable, Mapping

from benchmarks import tables
from benchmarks.documents.module_table import ROOT
from benchmarks.manufactured import orders as manufactured_orders
from benchmarks.studies import bounds, flow, orders, reported_figures, ringdown, steps, sweeps, thin_metal

STUDIES: Mapping[str, tuple[str, Callable[[], list[tuple]], tuple[str, ...]]] = {       # page, rows, column titles
    "error-bounds": ("fieldsolve/field/README.md", bounds.brooks_coil, bounds.COLUMNS),
    "thin-metal": ("fieldsolve/field/README.md", thin_metal.rows, thin_metal.COLUMNS),
    "order-in-time": ("fieldsolve/shot/README.md", steps.rows, steps.COLUMNS),
    "energy-balance": ("fieldsolve/shot/README.md", steps.balances, steps.BALANCE_COLUMNS),
    "ring-down": ("fieldsolve/records/README.md", ringdown.rows, ringdown.COLUMNS),
    "orders": ("benchmarks/VALIDATION.md", orders.rows, orders.COLUMNS),
    "reported-figures": ("benchmarks/VALIDATION.md", reported_figures.rows, reported_figures.COLUMNS),
    "manufactured-solutions": ("benchmarks/VALIDATION.md", manufactured_orders.rows, manufactured_orders.COLUMNS),
    "sweep-costs": ("fieldsolve/sweeps/README.md", sweeps.costs, sweeps.COST_COLUMNS),
    "design": ("fieldsolve/sweeps/README.md", sweeps.designs, sweeps.DESIGN_COLUMNS),
    "flow-convergence": ("fieldsolve/motion/README.md", flow.rows, flow.COLUMNS),
}


def markers(name: str) -> tuple[str, str]:
    """What stands before and after a study's table in its page."""
    return f"<!-- written by `python -m benchmarks.studies {name}` -->", f"<!-- end of {name} -->"


def markdown(columns: tuple[str, ...], rows: list[tuple]) -> str:
    """A table in Markdown; numbers with three digits, texts and counts as they are."""
    lines = [columns, ("---",) * len(columns), *([_cell(value) for value in row] for row in rows)]
    return "".join(f"| {' | '.join(line)} |\n" for line in lines)


def main(arguments: list[str] | None = None) -> int:
    """Compute the studies named and write their tables."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks.studies", description="Compute the tables of the theory pages.")
    parser.add_argument("name", nargs="*", metavar="NAME", help=f"studies to compute, of: {', '.join(STUDIES)} (default: all)")
    names = parser.parse_args(arguments).name or list(STUDIES)
    if unknown := [name for name in names if name not in STUDIES]:
        parser.error(f"no study {', '.join(unknown)}; there are: {', '.join(STUDIES)}")
    for name in names:
        page, rows, columns = STUDIES[name]
        text = (ROOT / page).read_text(encoding="utf-8")
        (ROOT / page).write_text(tables.replaced(text, markdown(columns, rows()), markers(name)), encoding="utf-8")
    return 0


def _cell(value: object) -> str:
    return f"{value:.3g}" if isinstance(value, float) else str(value)


if __name__ == "__main__":
    sys.exit(main())
