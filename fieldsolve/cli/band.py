"""The command `fieldsolve band`: 95 % bands on what the shot of a case file does, from the uncertainties that the file gives."""
from __future__ import annotations

import argparse
import sys
from typing import TYPE_CHECKING

from fieldsolve.cli.arguments import add_case, add_command, add_json, chosen_accuracy, read_changed_case
from fieldsolve.cli.outputs import check_outputs, print_written

if TYPE_CHECKING:
    from fieldsolve.propagation.result import Bands

DRAWS, CHECKS = 10_000, 4


def add_band(commands) -> None:
    """Add the command to those of the parser."""
    band = add_command(commands, "band", run_band, "95 %% bands from the uncertainties in a case file, and which input matters",
                       "Propagate the uncertainties in a case file ('120 uF +- 3 %') to 95 % bands on the currents, field, shape and "
                       "traces of its shot, by Monte Carlo through the reduced model of its section and full shots.")
    add_case(band)
    band.add_argument("--held", action="store_true", help="vary the inputs with the metal held still: quicker, but shapes have no band")
    band.add_argument("--prior", metavar="'KEY = 10 %'", action="append", default=[],
                      help="standard uncertainty of a value of the case, or of 'flow_stress of PART'; again for another")
    band.add_argument("--draws", metavar=str(DRAWS), type=_count, default=DRAWS, help="at most so many draws")
    band.add_argument("--checks", metavar=str(CHECKS), type=_count, default=CHECKS,
                      help="full shots at random that the bands are checked against; 20 for a proof")
    band.add_argument("--seed", metavar="0", type=_count, default=0, help="of the draws: with it the same bands come out again")
    band.add_argument("--accuracy", metavar="3e-2", help="relative, of the full shots that are compared with each other")
    band.add_argument("--csv", metavar="FILE.csv", help="write the traces with their bands, one row an instant; - for the screen")
    add_json(band)
    band.add_argument("--report", metavar="FILE.html", help="write one page by itself: bands, traces, what matters (.html)")


def run_band(options: argparse.Namespace) -> int | None:
    """Compute, show and write the bands."""
    from fieldsolve.cases.solve import check_shot_case
    from fieldsolve.propagation.solve import bands

    case = read_changed_case(options)
    check_shot_case(case)
    check_outputs(options, case)
    accuracy = chosen_accuracy(options.accuracy, None)
    found = bands(case, prior=_read_priors(options.prior), held=options.held, draws=options.draws, checks=options.checks,
                  seed=options.seed, accuracy=accuracy, progress=print_next)
    _put_out(found, options)
    return None


def print_next(text: str) -> None:
    """What is computed next, on standard error where a person looks on."""
    if sys.stderr.isatty():
        print(f"computing for the bands: {text}", file=sys.stderr)


def _count(text: str) -> int:
    if not text.isdigit():
        raise argparse.ArgumentTypeError(f"{text!r} is no whole number")
    return int(text)


def _read_priors(texts: list[str]) -> dict[str, float]:
    """Shares by key; InputError where a key stands twice."""
    from fieldsolve.errors import InputError

    found: dict[str, float] = {}
    for key, share in map(_read_prior, texts):
        if key in found:
            raise InputError(f"--prior {key}: is given twice; give it once")
        found[key] = share
    return found


def _read_prior(text: str) -> tuple[str, float]:
    """Key and share of a prior uncertainty."""
    from fieldsolve.errors import InputError
    from fieldsolve.units import parse_quantity

    key, separator, share = (part.strip() for part in text.partition("="))
    if not key or not separator or not share:
        raise InputError(f"--prior {text}: expected a key and a share, such as 'flow_stress of disc = 10 %'")
    return key, parse_quantity(share, "", f"--prior {key}")


def _put_out(found: Bands, options: argparse.Namespace) -> None:
    from fieldsolve.files import write_json
    from fieldsolve.files.provenance import provenance
    from fieldsolve.propagation.text import trace_rows
    from fieldsolve.report.files.rows import write_rows
    from fieldsolve.report.sheet.bands_page import write_bands_page

    origin = provenance(found.case.name, found.case.text)
    print(found.report())
    if options.json:
        write_json(options.json, {"case": found.case.name, **found.facts(), "provenance": origin})
    if options.csv:
        write_rows(options.csv, trace_rows(found), origin)
    if options.report:
        write_bands_page(options.report, found)
    print_written(options)
