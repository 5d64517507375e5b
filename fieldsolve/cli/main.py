"""The command line: arguments to calls, and errors to one line and an exit code."""
from __future__ import annotations

import argparse
import sys
import warnings

import fieldsolve
from fieldsolve.cases.case_file import Case, read_case, read_frequencies
from fieldsolve.cli.arguments import add_accuracy, add_case, add_json, chosen_accuracy
from fieldsolve.cli.materials import add_materials
from fieldsolve.cli.rig import add_rig
from fieldsolve.cli.shot import add_shot
from fieldsolve.errors import FieldError, GeometryError, InputError
from fieldsolve.report.files.atomic import check_output_file, write_json
from fieldsolve.report.plots.field_figure import FIGURE_SUFFIXES, field_figure, write_figure
from fieldsolve.report.text.bridge import bridge_facts, bridge_summary
from fieldsolve.report.text.harmonic import frequencies_text, harmonic_facts, harmonic_summary
from fieldsolve.report.text.static import field_facts, field_summary
from fieldsolve.units import parse_quantity

DONE, FAILED, WRONG_USE = 0, 1, 2
DEFAULT_CURRENT = 1000.0                       # ampere per turn
DEFAULT_ACCURACY = 1e-3


def main(arguments: list[str] | None = None) -> int:
    """Run the command with `arguments` (those of the process if None); returns the exit code: 0 done, 1 failed, 2 wrong use."""
    options = _parser().parse_args(arguments)
    try:
        with warnings.catch_warnings():
            warnings.showwarning = _show_warning
            code = options.run(options) or DONE
            sys.stdout.flush()
        return code
    except (InputError, GeometryError) as error:
        return _print_error(error, WRONG_USE)
    except (FieldError, OSError) as error:
        return _print_error(error, FAILED)
    except KeyboardInterrupt:
        return _print_error("interrupted; nothing half-written is left", FAILED)


def _print_error(error: Exception | str, code: int) -> int:
    print("fieldsolve:", " ".join(str(error).split()), file=sys.stderr)
    return code


def _show_warning(message, category, filename, lineno, file=None, line=None) -> None:
    print("fieldsolve: warning:", message, file=sys.stderr)


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(prog="fieldsolve", description="Axisymmetric fields of pulsed-power coils and metal discs.",
                                     allow_abbrev=False)
    parser.add_argument("--version", action="version", version=f"fieldsolve {fieldsolve.__version__}")
    commands = parser.add_subparsers(dest="command", required=True, metavar="COMMAND")
    _add_field(commands)
    _add_bridge(commands)
    add_shot(commands)
    add_rig(commands)
    add_materials(commands)
    return parser


def _add_field(commands) -> None:
    field = commands.add_parser("field", help="field of the coils in a case file, at rest or at frequencies", allow_abbrev=False,
                                description="Mesh the coils of a case file, solve the field at rest, or with eddy currents at "
                                "frequencies, and show its headline figures.")
    add_case(field)
    field.add_argument("--frequency", metavar="'10 kHz'", action="append",
                       help="one, or several as '1 kHz, 10 kHz' or by repeating (default: the case's, else the field at rest)")
    field.add_argument("--current", metavar="'1 kA'", help="ampere per turn, at a frequency its peak value, of each coil whose table "
                       "gives none (default 1 kA)")
    add_accuracy(field, f"{DEFAULT_ACCURACY:g}", "the headline figures")
    add_json(field, "; a phasor as {re, im}, peak value")
    field.add_argument("--figure", metavar="FILE", help=f"draw the field ({', '.join(FIGURE_SUFFIXES)})")
    field.add_argument("--report", metavar="FILE.html", help="write one page by itself: figures and drawing (.html)")
    field.add_argument("--vtu", metavar="FILE", help="write the field on its mesh (.vtu)")
    field.set_defaults(run=_run_field)


def _add_bridge(commands) -> None:
    bench = commands.add_parser("bench", help="what a bridge should read at a coil with and without the bodies", allow_abbrev=False,
                                description="Resistance and inductance of a coil of a case file, empty and loaded, at the frequencies "
                                "of a bridge.  Its currents, applied field and [field] frequency play no part.")
    add_case(bench)
    bench.add_argument("--coil", metavar="NAME", help="the coil at the bridge, where there are several")
    bench.add_argument("--frequencies", metavar="'1 kHz, 10 kHz'", action="append", help="(default 1, 2, 5 and 10 kHz)")
    add_accuracy(bench, f"{DEFAULT_ACCURACY:g}", "the figures")
    add_json(bench)
    bench.set_defaults(run=_run_bridge)


def _run_field(options: argparse.Namespace) -> None:
    check_output_file("--json", options.json, ())
    check_output_file("--figure", options.figure, FIGURE_SUFFIXES)
    check_output_file("--vtu", options.vtu, (".vtu",))
    check_output_file("--report", options.report, (".html",))
    case = read_case(options.case)
    frequencies = read_frequencies(options.frequency, "--frequency") if options.frequency else case.frequencies
    accuracy = _requested_accuracy(options.accuracy, case)
    currents, notes = _coil_currents(case, options.current)
    if frequencies:
        title = f"{case.path.name}: field at {frequencies_text(frequencies)}"
        field, facts = _solve_harmonic(case, currents, frequencies, accuracy)
        summary = harmonic_summary(title, facts, notes, _magnetized_parts(case))
    else:
        title = f"{case.path.name}: field at rest"
        field, facts = _solve_static(case, currents, accuracy)
        summary = field_summary(title, facts, notes, [part.name for part in case.parts if part.name not in currents])
    print(summary)
    _write_files(field, facts, options, title)
    if options.report:
        from fieldsolve.report.sheet.page import write_field_page

        write_field_page(options.report, title, summary, lambda: field_figure(field).axes, case.path)


def _magnetized_parts(case: Case) -> list[str]:
    return [part.name for part in case.parts if any(getattr(zone.material, "remanence", 0.0) for zone in part.zones)]


def _run_bridge(options: argparse.Namespace) -> None:
    check_output_file("--json", options.json, ())
    case = read_case(options.case)
    frequencies = read_frequencies(options.frequencies, "--frequencies") if options.frequencies else ()
    accuracy = _requested_accuracy(options.accuracy, case)
    rows = _solve_bridge_check(case, options.coil, frequencies, accuracy)
    print(bridge_summary(f"{case.path.name}: what a bridge should read at {rows[0].coil}, empty and with {', '.join(rows[0].load)}", rows))
    if options.json:
        write_json(options.json, {"case": case.path.name, "accuracy": accuracy, **bridge_facts(rows)})


def _requested_accuracy(option: str | None, case: Case) -> float:
    accuracy = chosen_accuracy(option, case.accuracy)
    return DEFAULT_ACCURACY if accuracy is None else accuracy


def _coil_currents(case: Case, option: str | None) -> tuple[dict[str, float], dict[str, str]]:
    """Ampere per turn of each coil, and of some a note on where it comes from.

    A ring is closed metal unless its table gives a current.
    """
    coils = [part.name for part in case.parts if part.is_coil and part.shape != "ring" and part.name not in case.currents]
    if option is not None and not coils:
        raise InputError(f"--current {option}: every coil of {case.path.name} has its own current; leave --current out or remove theirs")
    current = DEFAULT_CURRENT if option is None else parse_quantity(option, "A", "--current")
    note = " (by default: no current in its table and no --current)" if option is None else " (from --current)"
    return {**case.currents, **dict.fromkeys(coils, current)}, dict.fromkeys(coils, note)


def _solve_static(case: Case, currents: dict[str, float], accuracy: float):
    """The field at rest and its headline figures."""
    from fieldsolve.field.static.solve import solve_static

    field = solve_static(case.section, currents=currents, applied_field=case.applied_field, accuracy=accuracy)
    facts = field_facts(field, case.section, currents, case.applied_field)
    return field, {"case": case.path.name, "accuracy": accuracy, **facts}


def _solve_harmonic(case: Case, currents: dict[str, float], frequencies: tuple[float, ...], accuracy: float):
    """The fields at some frequencies, or the one, and their headline figures."""
    from fieldsolve.field.harmonic.solve import solve_harmonic

    sweep = solve_harmonic(case.section, frequencies, currents, applied_field=case.applied_field, accuracy=accuracy)
    facts = {"case": case.path.name, "accuracy": accuracy, **harmonic_facts(sweep, currents, case.applied_field)}
    return sweep if len(sweep) > 1 else sweep[0], facts


def _solve_bridge_check(case: Case, coil: str | None, frequencies: tuple[float, ...], accuracy: float):
    """Rows of the bench check."""
    from fieldsolve.field.harmonic.bridge_check import bridge_check

    return bridge_check(case.section, coil, accuracy=accuracy, **({"frequencies": frequencies} if frequencies else {}))


def _write_files(field, facts: dict, options: argparse.Namespace, title: str) -> None:
    if options.json:
        write_json(options.json, facts)
    if options.figure:
        write_figure(field, options.figure, title)
    if options.vtu:
        from fieldsolve.report.files.vtu import write_vtu

        write_vtu(field, options.vtu)
