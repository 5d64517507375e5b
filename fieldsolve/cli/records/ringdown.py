"""The command `fieldsolve ringdown`: inductance, resistance and arc voltage of a bank from the record of its ringing current."""
from __future__ import annotations

import argparse
from typing import TYPE_CHECKING, Any

from fieldsolve.cli.arguments import add_command, add_json
from fieldsolve.cli.outputs import check_outputs, print_written
from fieldsolve.cli.record_options import add_channel, add_scale_uncertainty, read_measured

if TYPE_CHECKING:
    from fieldsolve.records.ringdown.result import RingDown


def add_ringdown(commands) -> None:
    """Add the command to those of the parser."""
    ringdown = add_command(commands, "ringdown", run_ringdown, "inductance, resistance and arc voltage of a bank from its ringing current",
                           "Fit the whole waveform of a ringing current: constants of the loop with 95 % intervals, and what the record "
                           "does not determine.  With --load the bank's own, as a table [bank] ready to paste.")
    ringdown.add_argument("record", metavar="RECORD.csv", help="the record")
    ringdown.add_argument("second", metavar="SECOND.csv", nargs="?",
                          help="a record of the same loop at another voltage, fitted together: it separates R from the arc voltage")
    ringdown.add_argument("--capacitance", metavar="'120 uF +- 2 %'", required=True, help="of the bank, from a bridge")
    ringdown.add_argument("--voltage", metavar="'1 kV +- 10 V'", help="charge of the bank: then the gain of the record is fitted")
    ringdown.add_argument("--load", metavar="CASE.toml",
                          help="case whose coil with its metal held is taken off; or R and L of a short, '1 mohm, 60 nH +- 5 nH'")
    ringdown.add_argument("--skip", metavar="0", type=int, default=0,
                          help="half-waves to leave out at the start, in which the field soaks into metal in the coil (default 0)")
    add_scale_uncertainty(ringdown)
    add_channel(ringdown)
    ringdown.add_argument("--figure", metavar="FILE", help="draw measured and fitted current over the residual (.png, .pdf, .svg)")
    ringdown.add_argument("--report", metavar="FILE.html", help="write one page by itself (.html)")
    add_json(ringdown)


def run_ringdown(options: argparse.Namespace) -> int | None:
    """Fit, show and write; returns the exit code where it is not 0: 3 where L, R or arc voltage is not determined."""
    from fieldsolve.cli.process.exit_codes import NOT_ASSESSED
    from fieldsolve.records.ringdown.fit import fit_ring_down

    check_outputs(options)
    capacitance = _with_uncertainty(options.capacitance, "F", "--capacitance")
    voltage = None if options.voltage is None else _with_uncertainty(options.voltage, "V", "--voltage")
    load = None if options.load is None else _load(options.load)
    records = [read_measured(path, options) for path in (options.record, options.second) if path is not None]
    fit = fit_ring_down(records, capacitance=capacitance, voltage=voltage, load=load, skip=options.skip)
    print(fit.report())
    _write(fit, options, load)
    main = [fit.parameters[name] for name in ("inductance", "resistance", "arc_voltage") if name in fit.parameters]
    return None if all(interval.determined for interval in main) else NOT_ASSESSED


def _with_uncertainty(text: str, unit: str, option: str) -> tuple[float, float]:
    """Value and standard uncertainty in SI of text such as '120 uF +- 2 %'."""
    from fieldsolve.units import parse_quantity, split_uncertainty

    quantity, uncertain = split_uncertainty(text, option)
    return parse_quantity(quantity, unit, option), uncertain[1] if uncertain else 0.0


def _load(text: str) -> Any:
    """A case, or (resistance, inductance) of text such as '1 mohm, 60 nH'."""
    from fieldsolve.cases.case_file import read_case
    from fieldsolve.errors import InputError

    if "," not in text or text.endswith(".toml"):
        return read_case(text)
    parts = [part.strip() for part in text.split(",")]
    if len(parts) != 2:
        raise InputError(f"--load {text!r}: expected a case file, or resistance and inductance such as '1 mohm, 60 nH'")
    return _with_uncertainty(parts[0], "ohm", "--load"), _with_uncertainty(parts[1], "H", "--load")


def _write(fit: RingDown, options: argparse.Namespace, load: Any) -> None:
    from fieldsolve.cases.case_file import Case
    from fieldsolve.files import write_json
    from fieldsolve.files.provenance import provenance
    from fieldsolve.shot.problem import CaseText

    facts, case = fit.facts(), load if isinstance(load, Case) else None
    if options.figure:
        from fieldsolve.report.files.drawing import write_drawing

        write_drawing(fit.plot()[0].figure, options.figure)
    if options.report:
        from fieldsolve.report.sheet.ringdown_page import write_ring_down_page

        write_ring_down_page(options.report, fit, facts, CaseText(case.name, case.text) if case else None)
    if options.json:
        write_json(options.json, facts | {"provenance": provenance(*((case.name, case.text) if case else ()))})
    print_written(options)
