"""The command `fieldsolve design`: the best values of a case within the limits of its card."""
from __future__ import annotations

import argparse
from typing import Any

from fieldsolve.cli.arguments import add_command
from fieldsolve.cli.many.options import add_running, json_rows, running_keywords
from fieldsolve.cli.outputs import check_outputs, print_written
from fieldsolve.cli.process.exit_codes import FAILED, NOT_KEPT, first_of


def add_design(commands) -> None:
    """Add the command to those of the parser."""
    design = add_command(commands, "design", run_design, "the best coil and charge within the card's limits",
                         "Look for the values of a case that make a goal largest or smallest within the limits of the card, with few runs; "
                         "show what binds, the frontier and the band.  Exit code 1 where nothing fulfils the limits.  It authorises no "
                         "shot.")
    design.add_argument("design", metavar="DESIGN.toml", help="the design file")
    add_running(design, "design")
    design.add_argument("--figure", metavar="FILE.png", help="draw the runs, the frontier and the best (.png, .pdf or .svg)")


def run_design(options: argparse.Namespace) -> int:
    """Search, show and write a design; returns the exit code."""
    from fieldsolve.cli.progress import runs_progress
    from fieldsolve.files import write_json
    from fieldsolve.files.provenance import provenance
    from fieldsolve.report.files.drawing import write_drawing
    from fieldsolve.report.plots.styles import figures_for_files
    from fieldsolve.sweeps.design.design import design
    from fieldsolve.sweeps.design.design_file import read_design_file

    file = read_design_file(options.design)
    check_outputs(options, file.case)
    with runs_progress() as progress:
        found = design(file.case, file.vary, progress=progress, **running_keywords(options, options.design), **file.keywords)
    print(found.summary())
    origin = provenance(file.case.name, file.case.text)
    if options.csv:
        found.table.write_csv(options.csv)
    if options.npz:
        found.table.write_npz(options.npz)
    if options.json:
        write_json(options.json, {"case": file.case.name, "found": found.best is not None, "binding": list(found.binding),
                                  "best": json_rows([found.best or {}])[0], "frontier": json_rows(found.frontier),
                                  "band": {name: [interval.low, interval.high] for name, interval in found.band.items()},
                                  "first_pass": first_pass_facts(found), "rows": json_rows(found.rows), "provenance": origin})
    if options.figure:
        with figures_for_files():
            write_drawing(found.plot().figure, options.figure)
    print_written(options)
    return first_of([FAILED] * (found.best is None) + [NOT_KEPT] * bool(found.best and found.best["reason"]))


def first_pass_facts(found) -> dict[str, Any]:
    """The first pass of a design as JSON: what it was, and how far from the runs that followed, as shares of what these say."""
    first = found.first_pass
    return {"reason": first.reason, "models": first.models, "discharges": len(first.rows), "seconds": first.seconds,
            "not_predicted": dict(first.not_predicted), "first_pass_only": sorted(found.first_pass_only),
            "differences": {off.column: {"mean": off.mean, "largest": off.largest, "runs": off.runs} for off in found.differences}}
