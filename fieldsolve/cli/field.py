"""The command `fieldsolve field`: the field of a case file's coils, at rest or at frequencies, shown and written."""
from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from fieldsolve.cli.arguments import (
    add_accuracy,
    add_case,
    add_command,
    add_json,
    chosen_accuracy,
    number_or_text,
    read_changed_case,
    separate_values,
)
from fieldsolve.cli.outputs import check_outputs, print_written
from fieldsolve.cli.process.exit_codes import DONE, NOT_KEPT

if TYPE_CHECKING:
    from fieldsolve.cases.case_file import Case

DEFAULT_ACCURACY = 1e-3


def add_field(commands) -> None:
    """Add the command to those of the parser."""
    field = add_command(commands, "field", run_field, "field of the coils in a case file, at rest or at frequencies",
                        "Mesh the coils of a case file, solve the field at rest, or with eddy currents at frequencies, and show "
                        "inductances, forces, losses and the largest field.")
    add_case(field)
    field.add_argument("--frequency", metavar="'10 kHz'", action="append",
                       help="one, or several as '1 kHz, 10 kHz' or by repeating (default: the case's, else the field at rest)")
    field.add_argument("--current", metavar="'1 kA'", help="ampere per turn, at a frequency its peak value, of each coil whose table "
                       "gives none (default 1 kA)")
    add_accuracy(field, f"{DEFAULT_ACCURACY:g}", "what is shown")
    add_json(field, "; a phasor as {re, im}, peak value")
    field.add_argument("--figure", metavar="FILE", help="draw the field (.png, .pdf, .svg)")
    field.add_argument("--report", metavar="FILE.html", help="write one page by itself: results and drawing (.html)")
    field.add_argument("--vtu", metavar="FILE", help="write the field on its mesh (.vtu)")


def run_field(options: argparse.Namespace) -> int:
    """Compute, show and write a field; returns the exit code."""
    from fieldsolve.cases.field_table import read_frequencies
    from fieldsolve.report.text.harmonic import frequencies_text

    case = read_changed_case(options)
    check_outputs(options, case)
    frequencies = read_frequencies(separate_values(options.frequency), "--frequency") if options.frequency else case.field.frequencies
    accuracy = chosen_accuracy(options.accuracy, case.field.accuracy) or DEFAULT_ACCURACY
    currents, notes = _noted_currents(case, options.current)
    title = f"{case.name}: field at {frequencies_text(frequencies) if frequencies else 'rest'}"
    field = _solve(case, currents, frequencies, accuracy)
    head = {"case": case.name, "accuracy": accuracy}
    facts, summary = (_harmonic_texts if frequencies else _static_texts)(case, field, currents, title, notes, head)
    print(summary)
    _write_files(field, case, facts, options, title, summary)
    print_written(options)
    return DONE if facts["accuracy_reached"] else NOT_KEPT


def _noted_currents(case: Case, option: str | None) -> tuple[dict[str, float], dict[str, str]]:
    """Ampere per turn of each coil, and of some a note on where it comes from."""
    from fieldsolve.cases.solve import DEFAULT_CURRENT, coil_currents, coils_without_current
    from fieldsolve.errors import InputError
    from fieldsolve.units import parse_quantity

    coils = coils_without_current(case)
    if option is not None and not coils:
        raise InputError(f"--current {option}: every coil of {case.name} has its own current; leave --current out or remove theirs")
    current = DEFAULT_CURRENT if option is None else parse_quantity(number_or_text(option), "A", "--current")
    note = " (by default: no current in its table and no --current)" if option is None else " (from --current)"
    return coil_currents(case, current), dict.fromkeys(coils, note)


def _solve(case: Case, currents: dict[str, float], frequencies: tuple[float, ...], accuracy: float):
    from fieldsolve.cases.solve import solve_case_field

    return solve_case_field(case, currents, frequencies, accuracy)


def _static_texts(case: Case, field, currents: dict[str, float], title: str, notes: dict[str, str], head: dict) -> tuple[dict, str]:
    """Facts of a field at rest, after those of the `head`, and what the screen shows of it."""
    from fieldsolve.report.text.static import field_facts, field_summary

    facts = head | field_facts(field, case.section, currents, case.field.applied_field)
    return facts, field_summary(title, facts, notes, [part.name for part in case.parts if part.name not in currents])


def _harmonic_texts(case: Case, field, currents: dict[str, float], title: str, notes: dict[str, str], head: dict) -> tuple[dict, str]:
    """The same of the fields at some frequencies, or at the one."""
    from fieldsolve.report.text.harmonic import harmonic_facts, harmonic_summary

    facts = head | harmonic_facts(getattr(field, "fields", (field,)), currents, case.field.applied_field)
    magnetized = [part.name for part in case.parts if any(getattr(zone.material, "remanence", 0.0) for zone in part.zones)]
    return facts, harmonic_summary(title, facts, notes, magnetized)


def _write_files(field, case: Case, facts: dict, options: argparse.Namespace, title: str, summary: str) -> None:
    from fieldsolve.files import write_json
    from fieldsolve.files.provenance import provenance
    from fieldsolve.report.plots.field_figure import field_pictures, write_figure

    if options.json:
        write_json(options.json, {**facts, "provenance": provenance(case.name, case.text)})
    if options.figure:
        write_figure(field, options.figure, title)
    if options.vtu:
        from fieldsolve.report.files.vtu import write_vtu

        write_vtu(field, options.vtu)
    if options.report:
        from fieldsolve.report.sheet.summary_page import write_summary_page

        write_summary_page(options.report, title, summary, field_pictures(field), case)
