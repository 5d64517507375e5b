"""The command `fieldsolve sweep`: a case computed for every point of a sweep file."""
from __future__ import annotations

import argparse
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING

from fieldsolve.cli.arguments import add_command
from fieldsolve.cli.many.options import add_running, json_rows, running_keywords
from fieldsolve.cli.outputs import check_outputs, print_written
from fieldsolve.cli.process.exit_codes import FAILED, NOT_KEPT, first_of

if TYPE_CHECKING:
    from fieldsolve.sweeps.result import Sweep


def add_sweep(commands) -> None:
    """Add the command to those of the parser."""
    sweep = add_command(commands, "sweep", run_sweep, "a case for many values: one row a run, on all cores",
                        "Compute the case of a sweep file for every point of it: grids, values that go together, or samples.  Every "
                        "finished run is kept at once; after Ctrl-C or a crash --resume computes only what is missing.  Exit code 1 where "
                        "no run has come out, 4 where some failed or did not keep a promise.")
    sweep.add_argument("sweep", metavar="SWEEP.toml", help="the sweep file")
    add_running(sweep, "sweep")
    sweep.add_argument("--figures", metavar="FOLDER", help="draw each [[plot]] of the sweep file into a folder")


def run_sweep(options: argparse.Namespace) -> int:
    """Compute, show and write a sweep; returns the exit code."""
    from fieldsolve.cli.progress import runs_progress
    from fieldsolve.files import write_json
    from fieldsolve.files.provenance import provenance
    from fieldsolve.report.text.sweep import sweep_summary
    from fieldsolve.sweeps.sweep import sweep
    from fieldsolve.sweeps.sweep_file import read_sweep_file

    file = read_sweep_file(options.sweep)
    check_outputs(options, file.case)
    with runs_progress() as progress:
        table = sweep(file.case, file.over, allow_many=options.yes, progress=progress, **running_keywords(options, options.sweep),
                      **file.options)
    print(sweep_summary(table))
    if options.csv:
        table.write_csv(options.csv)
    if options.npz:
        table.write_npz(options.npz)
    if options.json:
        units = {name: table.unit(name) for name in table.columns}
        write_json(options.json, {"case": file.case.name, "inputs": list(table.inputs), "units": units, "rows": json_rows(table.rows),
                                  "provenance": provenance(file.case.name, file.case.text)})
    if options.figures:
        draw_plots(table, file.plots, Path(options.figures))
    print_written(options)
    return sweep_exit_code(table)


def draw_plots(table: Sweep, plots: Iterable[tuple[str, Mapping[str, str]]], folder: Path) -> None:
    """Draw each [[plot]] of a sweep file as plot_1.png, plot_2.png, ..."""
    from fieldsolve.report.files.drawing import write_drawing
    from fieldsolve.report.plots.styles import figures_for_files

    folder.mkdir(exist_ok=True)
    methods = {"curves": table.plot, "map": table.plot_map, "trade-off": table.plot_trade_off}
    with figures_for_files():
        for number, (kind, keywords) in enumerate(plots, 1):
            write_drawing(methods[kind](**keywords).figure, folder / f"plot_{number}.png")


def sweep_exit_code(table: Sweep) -> int:
    """1 where no run has come out, 4 where some failed or did not keep a promise, else 0."""
    return first_of([FAILED] * (len(table.failed) == len(table.rows)) + [NOT_KEPT] * any(row["reason"] for row in table.rows))
