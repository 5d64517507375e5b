"""Where an output comes from: version, time and case, and how a file is known as one of this program's."""
from __future__ import annotations

import hashlib
import re
import zipfile
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from fieldsolve.version import VERSION

WRITTEN_BY = f"fieldsolve {VERSION}"         # stands in every file that this program writes, near its start or its end
SIGNED = re.compile(rb"fieldsolve \d+\.\d+")
SEARCHED = 8192                             # bytes at either end of a file in which that is looked for


def provenance(case_name: str | None = None, case_text: str | None = None) -> dict[str, Any]:
    """Version, time of day in UTC, and name and SHA-256 of the case, None where there is none."""
    return {"program": WRITTEN_BY, "written": datetime.now(UTC).isoformat(timespec="seconds"), "case": case_name,
            "case_sha256": None if case_text is None else hashlib.sha256(case_text.encode("utf-8")).hexdigest()}


def provenance_text(facts: dict[str, Any]) -> str:
    """The same as one line."""
    case = "" if facts["case"] is None else f", case {facts['case']}"
    digest = "" if facts["case_sha256"] is None else f", SHA-256 {facts['case_sha256']}"
    return f"{facts['program']}, written {facts['written']}{case}{digest}"


def is_own_file(path: Path) -> bool:
    """Whether a file is empty or says that this program, of whatever version, has written it."""
    size = path.stat().st_size
    with path.open("rb") as file:
        start = file.read(SEARCHED)
        file.seek(max(0, size - SEARCHED))
        return size == 0 or bool(SIGNED.search(start + file.read(SEARCHED)))


def sign_zip(path: Path) -> None:
    """Write the program's name and version into a zip file, as its comment."""
    with zipfile.ZipFile(path, "a") as file:
        file.comment = WRITTEN_BY.encode()
