"""The command `fieldsolve radius`: the radius of a body over time from the trace of the current alone."""
from __future__ import annotations

import argparse
import sys
from collections.abc import Callable
from typing import TYPE_CHECKING

from fieldsolve.cli.arguments import add_case, add_command, add_json, number_or_text, read_changed_case
from fieldsolve.cli.outputs import check_outputs, print_written
from fieldsolve.cli.record_options import add_channel, add_scale_uncertainty, read_measured
from fieldsolve.cli.records.options import measured_values, named_texts

if TYPE_CHECKING:
    from fieldsolve.inference.radius import RadiusFromTrace

TYPICAL_SHOTS = 10              # that a fit takes, for the time left
PRIOR_EXAMPLE = "'bank.resistance = 0.1'"


def add_radius(commands) -> None:
    """Add the command to those of the parser."""
    radius = add_command(commands, "radius", run_radius, "the radius of a body over time from the trace of the current alone",
                         "Fit the model of a case file to the record of its current, and read the radius of the shrinking metal off the "
                         "fit, with a 95 % band that a wrong model widens.  Ctrl-C keeps the best so far, marked.")
    add_case(radius)
    radius.add_argument("record", metavar="RECORD.csv", help="the record")
    radius.add_argument("--part", metavar="disc", help="the body (default: the only one)")
    radius.add_argument("--prior", metavar=PRIOR_EXAMPLE, action="append", default=[],
                        help="relative standard deviation of what is uncertain, or one with its unit ('bank.arc_voltage = 20 V'): a key of "
                        "the case, gain, or 'flow_stress of PART'; again for another (default: the uncertainties in the case file, and "
                        "30 %% of the flow stress)")
    radius.add_argument("--measured", metavar="'NAME = VALUE'", action="append", default=[],
                        help="measured after the shot, such as 'radius of disc = 12.9 mm +- 0.1 mm', or read off a bridge before it, "
                        "'inductance of coil empty = 1.23 uH +- 0.01 uH'; again for another")
    add_channel(radius)
    add_scale_uncertainty(radius)
    radius.add_argument("--figure", metavar="FILE", help="draw radius and residual (.png, .pdf, .svg)")
    radius.add_argument("--report", metavar="FILE.html", help="write one page by itself (.html)")
    add_json(radius)


def run_radius(options: argparse.Namespace) -> int | None:
    """Fit, show and write; exit code 3 where the record determines nothing, 4 where the model does not serve or iterations go on."""
    from fieldsolve.cli.process.exit_codes import NOT_ASSESSED, NOT_KEPT
    from fieldsolve.inference.radius import radius_from_trace
    from fieldsolve.inference.text import NOTHING

    case = read_changed_case(options)
    check_outputs(options, case)
    record = read_measured(options.record, options)
    seen = radius_from_trace(case, record, part=options.part, prior=prior_of(options.prior), measured=measured_values(options.measured),
                             progress=shots_counted())
    put_out_radius(seen, case, options)
    if seen.determination > NOTHING:
        return NOT_ASSESSED
    return NOT_KEPT if seen.misfit.contradicts or not seen.settled else None


def prior_of(texts: list[str]) -> dict[str, float | str] | None:
    """The prior of texts such as 'bank.resistance = 0.1'; None where there are none."""
    return {name: number_or_text(value) for name, value in named_texts("--prior", texts).items()} if texts else None


def shots_counted(expected: int = TYPICAL_SHOTS) -> Callable[[str], None]:
    """What says on standard error which shot is computed next, and about how long it will still take, where a person looks on."""
    import time as clock

    started, done = clock.perf_counter(), []

    def show(text: str) -> None:
        if sys.stderr.isatty():
            left = (clock.perf_counter() - started) / len(done) * max(expected - len(done), 1) if done else None
            print(f"shot {len(done) + 1}: {text}" + ("" if left is None else f"; about {left:.0f} s left"), file=sys.stderr)
        done.append(text)
    return show


def put_out_radius(seen: RadiusFromTrace, case, options: argparse.Namespace) -> None:
    """Print a result and write its drawing, page and JSON."""
    from fieldsolve.files import write_json
    from fieldsolve.files.provenance import provenance

    facts = seen.facts()
    print(seen.report())
    if options.figure:
        from fieldsolve.report.files.drawing import write_drawing

        write_drawing(seen.plot()[0].figure, options.figure)
    if options.report:
        from fieldsolve.report.sheet.radius_page import write_radius_page

        write_radius_page(options.report, seen, facts, case)
    if options.json:
        write_json(options.json, facts | {"provenance": provenance(case.name, case.text)})
    print_written(options)
