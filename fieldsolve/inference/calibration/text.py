"""A calibration on one screen, and as plain data for JSON."""
from __future__ import annotations

from typing import Any

from fieldsolve.caution import CAUTION
from fieldsolve.inference.statistics.misfit import LEVEL
from fieldsolve.inference.text import FROM_PRIOR, LABELS, correlation_lines, interval_facts, misfit_facts, sentences, width_share
from fieldsolve.screen import column_lines, wrapped_lines
from fieldsolve.units import display

DISAGREE = 1.5              # from which factor on the shots are said to disagree


def calibration_text(found) -> str:
    """Parameters with their intervals, what moved them, verdicts on the held-out shots, cautions."""
    held = [line for shot in found.held_out for line in ("", *sentences([shot.verdict]), *_held_lines(shot))]
    note = (f"expected error of the model: current {100 * found.current_error:.2g} % of its peak, push and flow stress "
            f"{100 * found.motion_error:.2g} %; {found.runs} shots in {found.cost:.0f} s of processor time")
    return "\n".join([*wrapped_lines(f"Calibrated to {', '.join(found.shots)}"), *sentences(calibration_verdicts(found)), "",
                      *column_lines(_parameter_rows(found)), *correlation_lines(found.correlations), *held, "", *sentences([note]),
                      *wrapped_lines(CAUTION)])


def _parameter_rows(found) -> list[tuple[str, ...]]:
    """Rows of the parameters, below their headings."""
    rows = [("parameter", "value", "95 % interval", "over the prior", "moved by")]
    for name, interval in found.parameters.items():
        share = width_share(interval, found.priors[name])
        width = "the prior's own" if share > FROM_PRIOR else f"{100 * share:.0f} %"
        moved = ", ".join(f"{shot} {100 * part:.0f} %" for shot, part in found.shares[name].items() if part >= 0.05)
        rows.append((LABELS.get(name, name), display(interval.value, interval.unit, 4),
                     f"{display(interval.low, interval.unit, 4)} to {display(interval.high, interval.unit, 4)}", width, moved or "nothing"))
    return rows


def calibration_verdicts(found) -> list[str]:
    """Sentences that a reader must not miss."""
    lines = []
    if found.interrupted:
        lines.append("INTERRUPTED: the best so far; nothing was predicted")
    elif not found.settled:
        lines.append("the iterations did not settle: the parameters still moved at the last one")
    if found.disagreement > DISAGREE:
        lines.append(f"the shots DISAGREE {found.disagreement:.1f} times as much as their bands allow: the model, or a case, is wrong; the "
                     "intervals are widened by that")
    wrong = [name for name, test in found.misfits.items() if test.contradicts]
    if wrong:
        lines.append(f"MISFIT: the model, fitted to it alone, does not explain the record of {', '.join(wrong)} to its noise")
    elif found.misfit_probability < LEVEL:
        lines.append(f"MISFIT: each record alone fits the model, together they contradict it (probability {found.misfit_probability:.2g})")
    return lines


def _held_lines(held) -> list[str]:
    radius = held.radius
    lines = wrapped_lines(f"radius at the end {display(float(radius.values[-1]), 'm', 4)} ({display(float(radius.low[-1]), 'm', 4)} to "
                          f"{display(float(radius.high[-1]), 'm', 4)}); current off by {display(held.residual, 'A')}, expected "
                          f"{display(held.expected, 'A')}", "    ", "      ")
    return lines + [f"    {name}: measured {value:.5g}, predicted {predicted:.5g} +- {half:.2g} (SI)"
                    for name, value, predicted, half in held.measured]


def calibration_facts(found) -> dict[str, Any]:
    """Everything as floats, text and None, never NaN."""
    return {
        "shots": list(found.shots), "case_sha256": list(found.cases), "record_sha256": list(found.records),
        "verdicts": [*calibration_verdicts(found), *(held.verdict for held in found.held_out)],
        "parameters": {name: interval_facts(interval) for name, interval in found.parameters.items()},
        "priors": {name: interval_facts(interval) for name, interval in found.priors.items()},
        "factors": {name: interval_facts(interval) for name, interval in found.factors.items()},
        "correlations": {f"{one}, {other}": value for (one, other), value in found.correlations.items()},
        "shares": {name: dict(shares) for name, shares in found.shares.items()}, "disagreement": found.disagreement,
        "held_out": [_held_facts(held) for held in found.held_out], "current_error": found.current_error,
        "motion_error": found.motion_error, "misfits": {name: misfit_facts(test) for name, test in found.misfits.items()},
        "misfit_probability": found.misfit_probability,
        "computed_shots": found.runs, "processor_time_s": found.cost, "settled": found.settled,
        "interrupted": found.interrupted,
    }


def _held_facts(held) -> dict[str, Any]:
    return {"name": held.name, "verdict": held.verdict, "time_s": held.times.tolist(), "radius_m": held.radius.values.tolist(),
            "low_m": held.radius.low.tolist(), "high_m": held.radius.high.tolist(), "residual_A": held.residual,
            "expected_A": held.expected, "measured": [
                {"name": name, "measured": value, "predicted": predicted, "half_width": half}
                for name, value, predicted, half in held.measured]}
