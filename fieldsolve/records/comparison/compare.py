"""A record and a computed shot held against each other: every difference with all uncertainty that is known."""
from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from fieldsolve.cases.case_file import Case
from fieldsolve.errors import GeometryError, InputError
from fieldsolve.records.comparison.alignment import Alignment, align
from fieldsolve.records.comparison.channel_rows import channel_rows
from fieldsolve.records.comparison.computed import computed_trace
from fieldsolve.records.comparison.current_rows import current_rows
from fieldsolve.records.comparison.helix import ModelTerm, model_terms
from fieldsolve.records.comparison.measured_rows import measured_rows
from fieldsolve.records.comparison.rows import Row, overall_verdict
from fieldsolve.records.comparison.sensitivities import (
    Sensitivities,
    case_of_shot,
    check_case,
    solve_sensitivities,
    uncertain_inputs,
)
from fieldsolve.records.comparison.text import comparison_facts, comparison_text
from fieldsolve.records.comparison.trace import Trace
from fieldsolve.records.reading.correction import integrated
from fieldsolve.records.record import Record
from fieldsolve.shot.problem import CaseText
from fieldsolve.units import display
from geometries.keywords import known_keywords

if TYPE_CHECKING:
    from fieldsolve.shot.result.shot import Shot

INPUT_CHOICES = ("auto", "held", "full", "none")
FARTHEST_SCALE = 20.0      # times: a current that is farther off has another unit
ALIGNED = Alignment(0.0, 0.0, 0.0, 0.0)


@dataclass(frozen=True, eq=False, kw_only=True)
class Comparison:
    """A record held against a computed shot.  Made by `compare`; reading it computes nothing.

    Attributes
    ----------
    rows : tuple of Row
        One for each quantity: `name`, `computed`, `measured`, `difference`, `u_num`, `u_input`, `u_measured`, `verdict`.
    coil : str
        Whose current it is.
    computed, measured, residual : Trace
        Current in ampere over seconds from its start, as computed; as measured; and computed less measured at the measured times.
    alignment : Alignment
        Where the record's time zero was found.
    terms : tuple of ModelTerm
        Inductances that the model leaves out.
    remarks : tuple of str
        What a reader must know.
    record_name, record_sha256 : str
        The record's file.
    case : CaseText or None
        The case that the shot came from.
    title : str
        What was computed.

    Examples
    --------
    >>> from fieldsolve.records.comparison.trace import Trace
    >>> empty = Trace(np.zeros(0), np.zeros(0))
    >>> Comparison(rows=(), coil="coil", computed=empty, measured=empty, residual=empty, alignment=ALIGNED, terms=(), remarks=(),
    ...            record_name="shot.csv", record_sha256="", case=None, title="a shot").verdict
    '0 of 0 agree within known uncertainty'
    """

    rows: tuple[Row, ...]
    coil: str
    computed: Trace
    measured: Trace
    residual: Trace
    alignment: Alignment
    terms: tuple[ModelTerm, ...]
    remarks: tuple[str, ...]
    record_name: str
    record_sha256: str
    case: CaseText | None
    title: str

    def __repr__(self) -> str:
        return f"Comparison({self.record_name}: {self.verdict})"

    def row(self, name: str) -> Row:
        """One row by name; InputError where there is none."""
        for row in self.rows:
            if row.name == name:
                return row
        raise InputError(f"no row {name!r}; there are {', '.join(row.name for row in self.rows)}")

    @property
    def verdict(self) -> str:
        """All rows in one sentence."""
        return overall_verdict(self.rows)

    @property
    def residual_rms(self) -> float | None:
        """Root mean square of the residual in ampere; None where the two share no time."""
        values = self.residual.values
        return float(np.sqrt(np.mean(values**2))) if len(values) else None

    def report(self) -> str:
        """One screen for a person in a workshop."""
        return comparison_text(self)

    def facts(self) -> dict:
        """Everything as plain data for JSON, the traces left out."""
        return comparison_facts(self)

    def plot(self, axes=None):
        """Both currents on the same axes, and below them the residual; returns the two axes."""
        from fieldsolve.report.plots.comparison import plot_comparison
        return plot_comparison(self, axes)


@known_keywords
def compare(shot: Shot, record: Record, measured: Mapping[str, tuple[float, float] | float] | None = None, *, coil: str | None = None,
            case: Case | None = None, inputs: str = "auto", bands: Any = None, aligned: bool = False,
            progress: Callable[[str], None] | None = None) -> Comparison:
    """Hold a record, and what was measured after the shot, against a computed shot.

        E = computed - measured,     u_val = sqrt(u_num^2 + u_input^2 + u_measured^2)

    Parameters
    ----------
    shot : Shot
        u_num is half its error bound, a tighter one where it is `shot.refined()`, and None without one.
    record : Record
        With a channel "current" in ampere, or "current_rate" in A/s, which is integrated.  The uncertainty of its scale is that of its
        `Channel`.
    measured : mapping, optional
        (value, standard uncertainty) in SI by name, such as {"radius of disc": (12.9e-3, 0.1e-3)}; a value alone has an unknown one.
    coil : str, optional
        Whose current it is; by default the first in the circuit.
    case : Case, optional
        Where the shot came from no case, or from one with material files.
    inputs : str, optional
        How u_input is found from the uncertainties in the case: 'held' by shots with the metal held still, 'full' by shots as the one
        that is compared, 'none' not at all; 'auto': 'full' where a shape was measured and metal moves, else 'held'.
    bands : Bands, optional
        Of `fieldsolve.bands` for the same case: u_input is the standard uncertainty of the band, in place of what `inputs` says.
    aligned : bool, optional
        Whether the record's time is that of the shot; if not, its time zero is fitted.
    progress : callable, optional
        Called with a text before each shot that is computed for u_input.

    Returns
    -------
    Comparison

    Raises
    ------
    InputError
        For a record without current or of other sign, for an unknown name, and for a case that is not the shot's.

    Notes
    -----
    Source: ASME V&V 20-2009, Standard for Verification and Validation in Computational Fluid Dynamics and Heat Transfer (from memory).

    Examples
    --------
    >>> import fieldsolve as fs
    >>> case = fs.read_case({"coil": {"shape": "solenoid", "turns": 4, "bore_radius": "15.6 mm", "wire_diameter": "3 mm",
    ...                                "pitch": "3.3 mm", "material": "copper"},
    ...                      "bank": {"capacitance": "120 uF", "voltage": "4 kV", "inductance": "350 nH", "resistance": "6 mohm"},
    ...                      "run": {"end_time": "40 us", "motion": False, "heating": False, "accuracy": 3e-2}})
    >>> shot = fs.solve_case(case)
    >>> record = fs.Record(times=shot.times, values={"current": 0.98 * shot.series("current", "coil")})      # 2 % less than computed
    >>> round(compare(shot, record, inputs="none").row("peak current of coil").measured / shot.peak("current", "coil"), 3)
    0.98
    """
    if inputs not in INPUT_CHOICES:
        raise InputError(f"inputs = {inputs!r}: choose {', '.join(INPUT_CHOICES)}")
    if case is not None:
        check_case(shot, case)
    coil = coil or shot.coils[0]
    remarks = [*record.remarks, *_shot_remarks(shot)]
    raw, scale_uncertainty = _current_of(record, remarks)
    whole = computed_trace(shot, coil, float(shot.times[-1]))
    alignment = ALIGNED if aligned else align(raw, whole, record.path.name)
    trace = Trace(raw.times - alignment.shift, raw.values - alignment.offset)
    end = min(float(trace.times[-1]), shot.times[-1] if shot.validity_end is None else shot.validity_end)
    if end <= 0:
        raise InputError(f"{record.path.name}: shares no time with the shot; is its time in seconds?")
    sensitivities, terms = _sensitivities(shot, case, "bands" if bands is not None else inputs, bool(measured), remarks, progress)
    rows = (*current_rows(shot, coil, trace, end, alignment, scale_uncertainty, sensitivities, terms, remarks, bands),
            *channel_rows(shot, record, end, alignment, sensitivities, terms, coil, bands),
            *measured_rows(shot, measured or {}, sensitivities, terms, bands))
    remarks += _scale_remarks(rows)
    shared = Trace(*(column[(trace.times >= 0) & (trace.times <= shot.times[-1])] for column in (trace.times, trace.values)))
    residual = Trace(shared.times, np.interp(shared.times, whole.times, whole.values) - shared.values)
    return Comparison(rows=rows, coil=coil, computed=whole, measured=trace, residual=residual, alignment=alignment, terms=terms,
                      remarks=tuple(dict.fromkeys(remarks)), record_name=record.path.name, record_sha256=record.sha256, case=shot.case,
                      title=_title(shot))


def _current_of(record: Record, remarks: list[str]) -> tuple[Trace, float]:
    """The measured current, and the relative standard uncertainty of its scale."""
    roles = {name: (record.channels[name].role or name) if name in record.channels else name for name in record.names}
    for wanted in ("current", "current_rate"):
        for name, role in roles.items():
            if role == wanted:
                times, values = record.samples(name)
                if wanted == "current_rate":
                    before = values[times < times[0] + 0.02 * np.ptp(times)]
                    values = integrated(times, values, float(np.median(before)) if len(before) else 0.0)
                    remarks.append(f"{name}: integrated to the current, its first samples taken as zero")
                uncertainty = record.scale_uncertainty(name)
                if not uncertainty:
                    remarks.append(f"{name}: its scale is taken as exact; give scale_uncertainty= of its channel")
                elif not math.isfinite(uncertainty):
                    remarks.append(f"{name}: its scale is not known: only times and ratios are weighed")
                return Trace(times, values), uncertainty
    raise InputError(f"{record.path.name}: has no current; read it with channels={{'current': fs.Channel(column=1)}}")


def _sensitivities(shot: Shot, case: Case | None, inputs: str, shapes: bool, remarks: list[str],
                   progress: Callable[[str], None] | None) -> tuple[Sensitivities | None, tuple[ModelTerm, ...]]:
    """The shots with changed inputs, None where nothing is to be changed; and the terms that the model leaves out."""
    parts = tuple(shot.section.part(name) for name in shot.coils)
    try:
        case = case or case_of_shot(shot)
        terms = model_terms(parts, case.leads)
        uncertain = uncertain_inputs(case)
        if not uncertain:
            remarks.append("the case gives no uncertainty of its inputs: write '120 uF +- 3 %'")
        if inputs == "none" or not (uncertain or terms):
            return None, terms
        vary = inputs != "bands"
        if not (vary or terms):
            return None, terms
        held = inputs in ("held", "bands") or (inputs == "auto" and not (shapes and uncertain and shot.problem.motion is not False))
        found = solve_sensitivities(case, shot, held, sum(term.inductance for term in terms), progress, vary=vary)
    except (InputError, GeometryError) as error:
        remarks.append(f"the inputs' uncertainty and the model's offsets were not computed: {error}")
        return None, model_terms(parts, shot.problem.leads or _no_leads())
    if held and shot.problem.motion is not False:
        of_inputs = "the inputs' uncertainty and " if vary else ""
        remarks.append(f"{of_inputs}the model's offsets come from shots with the metal held still")
    return found, terms


def _scale_remarks(rows: tuple[Row, ...]) -> list[str]:
    """Whether the measured peak is so far off that its scale must be wrong."""
    for row in rows:
        ratio = abs(row.measured / row.computed) if row.name.startswith("peak current") and row.computed else 1.0
        if not 1 / FARTHEST_SCALE < ratio < FARTHEST_SCALE:
            return [f"the measured current is {ratio:.2g} times the computed one: is the scale of its channel given?"]
    return []


def _no_leads():
    from fieldsolve.circuit.bank import Leads

    return Leads()


def _shot_remarks(shot: Shot) -> list[str]:
    found = [] if shot.comparisons else ["the computed values have no error bound: solve with error_bounds=True, or compare shot.refined()"]
    if shot.validity_end is not None:
        found.append(f"the shot is beyond the model from {display(shot.validity_end, 's')} on, for {shot.validity_reason}: "
                     "the current is compared up to there")
    if shot.interrupted or shot.stop_reason:
        found.append(f"the shot ended early, at {display(float(shot.times[-1]), 's')}")
    return found


def _title(shot: Shot) -> str:
    from fieldsolve.shot.display.summary import summary_title

    title = summary_title(shot)
    return f"{title[0].lower()}{title[1:]}"


def without_traces(comparison: Comparison) -> Comparison:
    """The same without its samples, to be sent or printed."""
    empty = Trace(np.zeros(0), np.zeros(0))
    return replace(comparison, computed=empty, measured=empty, residual=empty)
