"""The page of a calibration: one page of HTML by itself; each number stands beside its pointer into the JSON."""
from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from fieldsolve.caution import CAUTION
from fieldsolve.files import write_atomically
from fieldsolve.inference.calibration.text import calibration_verdicts
from fieldsolve.inference.text import LABELS, width_share
from fieldsolve.report.plots.records.calibration import plot_calibration
from fieldsolve.report.sheet.comparison_page import escape_pointer
from fieldsolve.report.sheet.page import LITERAL_TEXT, image_data, render
from fieldsolve.shot.problem import CaseText
from fieldsolve.units import display

if TYPE_CHECKING:
    from fieldsolve.inference.calibration.calibrate import ModelCalibration

LETTERING = {"font.size": 9.2, "axes.labelsize": 8.6, "xtick.labelsize": 8, "ytick.labelsize": 8, **LITERAL_TEXT}


def write_calibration_page(path: str | Path, found: ModelCalibration, facts: dict[str, Any], case: CaseText) -> None:
    """Write the page; a file that cannot be completed is not left there.

    facts  of the calibration, as in --json
    case   of the first shot
    """
    text = calibration_html(found, facts, case)
    write_atomically(path, lambda partial: partial.write_text(text, encoding="utf-8"))


def calibration_html(found: ModelCalibration, facts: dict[str, Any], case: CaseText) -> str:
    """The page as HTML; every text from outside is escaped."""
    return render("calibration_page.html.j2", case, found=found, facts=facts, caution=CAUTION, verdicts=calibration_verdicts(found),
                  parameters=[_parameter_row(name, found, facts) for name in found.parameters],
                  shots=[_shot_row(number, name, facts) for number, name in enumerate(found.shots)],
                  held=[_held_context(number, facts) for number in range(len(found.held_out))],
                  numbers=[(label, f"/{key}", facts[key], text) for label, key, text in _numbers(facts)],
                  plot=image_data(lambda: plot_calibration(found), LETTERING))


def _parameter_row(name: str, found: ModelCalibration, facts: dict[str, Any]) -> dict[str, Any]:
    """Label; value and interval, the interval before; the share of its width that is left; what each shot brought."""
    key = escape_pointer(name)
    cells = [(f"/{group}/{key}/{end}", facts[group][name][end], display(facts[group][name][end], facts[group][name]["unit"], 4))
             for group, ends in (("parameters", ("value", "low", "high")), ("priors", ("low", "high"))) for end in ends]
    left = width_share(found.parameters[name], found.priors[name])
    return {"label": LABELS.get(name, name), "cells": cells, "left": f"{100 * left:.0f} %",
            "shares": [(f"/shares/{key}/{escape_pointer(shot)}", share, f"{100 * share:.0f} %")
                       for shot, share in facts["shares"][name].items()]}


def _shot_row(number: int, name: str, facts: dict[str, Any]) -> dict[str, Any]:
    """Name and hashes of a fitted shot, and how often a right model leaves a record like its."""
    value = facts["misfits"][name]["p_value"]
    return {"name": name, "case": facts["case_sha256"][number], "record": facts["record_sha256"][number],
            "cell": (f"/misfits/{escape_pointer(name)}/p_value", value, f"{value:.2g}")}


def _held_context(number: int, facts: dict[str, Any]) -> dict[str, Any]:
    """Verdict of a held-out shot, its last radius, its current, and what was measured after it."""
    held, at = facts["held_out"][number], f"/held_out/{number}"
    last = len(held["time_s"]) - 1
    ends = [(f"{at}/{key}/{last}", held[key][last], display(held[key][last], "m", 4)) for key in ("radius_m", "low_m", "high_m")]
    currents = [(f"{at}/{key}", held[key], display(held[key], "A")) for key in ("residual_A", "expected_A")]
    measured = [{"name": entry["name"], "cells": [(f"{at}/measured/{k}/{key}", entry[key], f"{entry[key]:.5g}")
                                                  for key in ("measured", "predicted", "half_width")]}
                for k, entry in enumerate(held["measured"])]
    return {"verdict": held["verdict"], "ends": ends, "currents": currents, "measured": measured}


def _numbers(facts: dict[str, Any]) -> list[tuple[str, str, str]]:
    return [("how much farther the shots lie from each other than their bands allow", "disagreement", f"{facts['disagreement']:.2g} times"),
            ("how often a right model leaves such records, all together", "misfit_probability", f"{facts['misfit_probability']:.2g}"),
            ("expected error of the model's current, of its peak", "current_error", f"{100 * facts['current_error']:.2g} %"),
            ("expected error of the model's push and flow stress", "motion_error", f"{100 * facts['motion_error']:.2g} %"),
            ("shots computed", "computed_shots", str(facts["computed_shots"])),
            ("processor time", "processor_time_s", f"{facts['processor_time_s']:.0f} s")]
