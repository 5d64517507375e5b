"""The folder of a sweep: every finished run in a file of its own, written at once, found again by what it depends on.

    sweep.json             which case it is of, by which version it was begun and when
    runs/ab/abcd....json   the outcome of the run with that key
    shots/ab/abcd....shot.npz   its whole shot, where shots are kept
"""
from __future__ import annotations

import json
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from fieldsolve.cases.case_file import Case, read_tables
from fieldsolve.cases.table_keys import RIG_TABLES
from fieldsolve.errors import InputError
from fieldsolve.files import try_folder, write_json
from fieldsolve.files.provenance import WRITTEN_BY
from fieldsolve.sweeps.run import DONE, FAILED, Outcome

FORMAT, FORMAT_VERSION = "fieldsolve sweep", 1
MANIFEST = "sweep.json"
KEPT = (DONE, FAILED)           # an interrupted run is computed again


@dataclass(frozen=True)
class RunStore:
    """Finished runs in a folder; made by `open_store`."""

    folder: Path

    def find(self, key: str) -> Outcome | None:
        """The outcome of the run with a key, None where it is not there or its file is damaged."""
        try:
            content = json.loads(self._run_path(key).read_text(encoding="utf-8"))
            results = {name: tuple(entry) for name, entry in content.pop("results").items()}
            return Outcome(**content, results=results) if content.pop("key") == key else None
        except (OSError, ValueError, KeyError, TypeError, AttributeError):
            return None

    def put(self, key: str, outcome: Outcome) -> None:
        """Keep an outcome, complete or not at all; OSError where the folder cannot be written to."""
        if outcome.status not in KEPT or not outcome.repeats:
            return
        path = self._run_path(key)
        path.parent.mkdir(parents=True, exist_ok=True)
        write_json(path, {"key": key, **asdict(outcome)})

    def shot_path(self, key: str) -> Path:
        """Where the whole shot of a run is kept."""
        return self.folder / "shots" / key[:2] / f"{key}.shot.npz"

    def count(self) -> int:
        """How many runs there are."""
        return sum(1 for _ in self.folder.glob("runs/*/*.json") if not _.name.startswith("."))

    def _run_path(self, key: str) -> Path:
        return self.folder / "runs" / key[:2] / f"{key}.json"


def open_store(folder: str | Path, case: Case) -> RunStore:
    """The store in a folder, begun where there is none.

    Raises InputError where the folder holds something else, runs of another case, or those of a later version; where it cannot be
    written to.
    """
    folder = Path(folder)
    try:
        folder.mkdir(parents=True, exist_ok=True)
        try_folder(folder)
    except OSError as error:
        raise InputError(f"store = {str(folder)!r}: nothing can be written there ({error.strerror}); give another folder") from None
    manifest = folder / MANIFEST
    if manifest.exists():
        _check_manifest(folder, _read_manifest(manifest), case)
    elif any(folder.iterdir()):
        raise InputError(f"store = {str(folder)!r}: the folder holds other files and no sweep; give an empty or a new folder")
    else:
        write_json(manifest, {"format": FORMAT, "version": FORMAT_VERSION, "program": WRITTEN_BY, "case": case.name, "text": case.text,
                              "begun": datetime.now(UTC).isoformat(timespec="seconds")})
    return RunStore(folder)


def _read_manifest(path: Path) -> dict[str, Any]:
    try:
        content = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError):
        content = {}
    if not isinstance(content, dict) or content.get("format") != FORMAT or not isinstance(content.get("version"), int):
        raise InputError(f"store = {str(path.parent)!r}: its {MANIFEST} is not that of a sweep; give another folder")
    if content["version"] > FORMAT_VERSION:
        raise InputError(f"store = {str(path.parent)!r}: written by a later version, {content.get('program')}; install that one")
    return content


def _check_manifest(folder: Path, content: dict[str, Any], case: Case) -> None:
    """Refuse the store of a case that differs in what a run depends on."""
    kept, tables = read_tables(content["text"]), case.tables
    changed = [name for name in {**kept, **tables} if kept.get(name) != tables.get(name) and name not in (*RIG_TABLES, "limits")]
    if changed:
        raise InputError(f"store = {str(folder)!r}: is of another case, {content['case']}, which differs in [{changed[0]}] from "
                         f"{case.name}; give another folder")
