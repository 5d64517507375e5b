"""The command `fieldsolve bridge`: what an LCR bridge should read at a coil of a case file, empty and loaded."""
from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from fieldsolve.cli.arguments import (
    add_accuracy,
    add_case,
    add_command,
    add_json,
    chosen_accuracy,
    read_changed_case,
    separate_values,
)
from fieldsolve.cli.outputs import check_outputs, print_written
from fieldsolve.cli.process.exit_codes import DONE, NOT_KEPT

if TYPE_CHECKING:
    from fieldsolve.cases.case_file import Case
    from fieldsolve.field.harmonic.bridge_check import BridgeRow

DEFAULT_ACCURACY = 1e-3


def add_bridge(commands) -> None:
    """Add the command to those of the parser."""
    bridge = add_command(commands, "bridge", run_bridge, "what a bridge should read at a coil with and without the bodies",
                         "Resistance and inductance of a coil of a case file, empty and loaded, at the frequencies of an LCR bridge.  Its "
                         "currents, applied field and [field] frequency play no part.")
    add_case(bridge)
    bridge.add_argument("--coil", metavar="NAME", help="the coil at the bridge, where there are several")
    bridge.add_argument("--frequencies", metavar="'1 kHz, 10 kHz'", action="append", help="(default 1, 2, 5 and 10 kHz)")
    add_accuracy(bridge, f"{DEFAULT_ACCURACY:g}", "resistances and inductances")
    bridge.add_argument("--figure", metavar="FILE", help="draw the readings over frequency (.png, .pdf, .svg)")
    bridge.add_argument("--report", metavar="FILE.html", help="write one page by itself: table and drawing (.html)")
    bridge.add_argument("--csv", metavar="FILE.csv", help="write the readings, one row a frequency; - for the screen")
    add_json(bridge)


def run_bridge(options: argparse.Namespace) -> int:
    """Compute, show and write the readings; returns the exit code."""
    from fieldsolve.cases.field_table import read_frequencies
    from fieldsolve.field.harmonic.bridge_check import bridge_check
    from fieldsolve.files import write_json
    from fieldsolve.files.provenance import provenance
    from fieldsolve.report.files.rows import write_rows
    from fieldsolve.report.text.bridge import bridge_facts, bridge_summary

    case = read_changed_case(options)
    check_outputs(options, case)
    frequencies = {"frequencies": read_frequencies(separate_values(options.frequencies), "--frequencies")} if options.frequencies else {}
    accuracy = chosen_accuracy(options.accuracy, case.field.accuracy) or DEFAULT_ACCURACY
    rows = bridge_check(case.section, options.coil, accuracy=accuracy, **frequencies)
    title = f"{case.name}: what a bridge should read at {rows[0].coil}, empty and with {', '.join(rows[0].load)}"
    summary, facts, origin = bridge_summary(title, rows), bridge_facts(rows), provenance(case.name, case.text)
    print(summary)
    if options.json:
        write_json(options.json, {"case": case.name, "accuracy": accuracy, **facts, "provenance": origin})
    if options.csv:
        write_rows(options.csv, facts["rows"], origin)
    _draw(rows, case, title, summary, options)
    print_written(options)
    return DONE if all(row.accuracy_reached for row in rows) else NOT_KEPT


def _draw(rows: tuple[BridgeRow, ...], case: Case, title: str, summary: str, options: argparse.Namespace) -> None:
    """Write the drawing and the page, where they were requested."""
    if not (options.figure or options.report):
        return
    from fieldsolve.report.files.drawing import write_drawing
    from fieldsolve.report.plots.impedance import plot_bridge
    from fieldsolve.report.plots.styles import figures_for_files
    from fieldsolve.report.sheet.summary_page import write_summary_page

    if options.figure:
        with figures_for_files():
            write_drawing(plot_bridge(rows)[0].figure, options.figure)
    if options.report:
        write_summary_page(options.report, title, summary, [("Resistance and inductance", lambda: plot_bridge(rows))], case, note="")
