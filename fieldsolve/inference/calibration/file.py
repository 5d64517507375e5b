"""The file of a calibration, which cases name: parameters with intervals, and where they come from."""
from __future__ import annotations

import datetime
from pathlib import Path

from fieldsolve.cases.calibration_file import FORMAT, VERSION
from fieldsolve.cases.toml_text import write_toml
from fieldsolve.files import write_atomically
from fieldsolve.version import VERSION as SOFTWARE


def write_calibration(path: str | Path, found) -> None:
    """Write a calibration as TOML; a file that cannot be completed is not left there."""
    created = datetime.datetime.now(datetime.UTC).isoformat(timespec="seconds")
    lines = ["# Parameters calibrated to records of shots.  A case names this file with  [calibration] file = \"...\"",
             f'format = "{FORMAT}"', f"version = {VERSION}", f'created = "{created}"', f'software = "fieldsolve {SOFTWARE}"',
             f"disagreement = {found.disagreement:.6g}", f"settled = {str(found.settled).lower()}",
             f"interrupted = {str(found.interrupted).lower()}", ""]
    for name, interval in found.parameters.items():
        factor = found.factors[name]
        relative = (factor.uncertainty or 0.0) / abs(factor.value or 1.0)
        entry = {"name": name, **({} if name in found.varied else {"value": float(f"{interval.value:.9g}")}),
                 "factor": float(f"{factor.value:.9g}"), "deviation": float(f"{relative:.4g}"), "unit": interval.unit,
                 "low": float(f"{interval.low:.9g}"), "high": float(f"{interval.high:.9g}")}
        lines += ["[[parameter]]", *_entries(entry)]
    for name, case, record in zip(found.shots, found.cases, found.records, strict=True):
        lines += ["[[shot]]", *_entries({"name": name, "case_sha256": case, "record_sha256": record})]
    for held in found.held_out:
        lines += ["[[held_out]]", *_entries({"name": held.name, "verdict": held.verdict})]
    text = "\n".join(lines)
    write_atomically(path, lambda partial: partial.write_text(text, encoding="utf-8"))


def _entries(values: dict) -> list[str]:
    """Lines of a table, as TOML writes them."""
    return [*write_toml({"x": values}).splitlines()[1:], ""]
