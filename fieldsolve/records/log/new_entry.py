"""A new shot in the log: its folder with the case file, the prediction and what they say, before it has its name."""
from __future__ import annotations

import platform
import shutil
from collections.abc import Iterator
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from typing import TYPE_CHECKING, Any

from fieldsolve.cases.card_companions import card_shots
from fieldsolve.cases.case_file import Case, kept_rig
from fieldsolve.records.log.entry import ADDITIONS, ENTRY, FORMAT, FORMAT_VERSION, PREDICTION, utc_now
from fieldsolve.records.log.storage import file_hash, flush_to_disk, json_bytes
from fieldsolve.rig.card import Card, rig_card
from fieldsolve.version import VERSION

if TYPE_CHECKING:
    from fieldsolve.shot.result.shot import Shot

CASE_FOLDER = "case"
PACKAGES = ("numpy", "scipy", "scikit-fem", "gmsh")
WALL = "wall"                                                        # in the names of the card's checks of the box


def write_new_entry(folder: Path, case: Case, prediction: Shot, title: str) -> None:
    """Fill a new folder, and wait until all of it is on the disk."""
    for name in (folder, folder / ADDITIONS, folder / CASE_FOLDER):
        name.mkdir()
    case_file = folder / CASE_FOLDER / (case.name if case.name.endswith(".toml") else f"{case.name}.toml")
    case_file.write_text(case.text, encoding="utf-8", newline="")
    metals = list(_copy_metals(case, folder / CASE_FOLDER))
    prediction.save(folder / PREDICTION)
    stored = {
        "format": FORMAT, "version": FORMAT_VERSION, "created": utc_now(), "title": title,
        "coils": list(prediction.coils), "bodies": list(prediction.bodies),
        "case": {"file": f"{CASE_FOLDER}/{case_file.name}", "sha256": file_hash(case_file),
                 "metals": [{"file": str(path.relative_to(folder).as_posix()), "sha256": file_hash(path)} for path in metals]},
        "prediction": {"sha256": file_hash(folder / PREDICTION), **_predicted(prediction)},
        "software": {"fieldsolve": VERSION, "python": platform.python_version(), **{package: _version(package) for package in PACKAGES}},
        "platform": platform.platform(),
    }
    (folder / ENTRY).write_bytes(json_bytes(stored))
    for path in [*folder.rglob("*"), folder]:
        flush_to_disk(path)


def _copy_metals(case: Case, folder: Path) -> Iterator[Path]:
    """Copy the material files that a case names from within its own folder; the metals of all are in the prediction."""
    for name in sorted(set(_toml_names(case.tables))):
        source, target = case.folder / name, folder / name
        inside = target.resolve().is_relative_to(folder.resolve())
        if inside and source.is_file() and not target.exists():
            target.parent.mkdir(parents=True, exist_ok=True)
            shutil.copyfile(source, target)
            yield target


def _toml_names(value: Any) -> Iterator[str]:
    if isinstance(value, dict | list):
        for entry in value.values() if isinstance(value, dict) else value:
            yield from _toml_names(entry)
    elif isinstance(value, str) and value.endswith(".toml"):
        yield value


def _predicted(shot: Shot) -> dict[str, Any]:
    """What the shot predicts, in SI, with the checks of its rig's card as far as they can be assessed."""
    card = _card(shot)
    walls = [check for check in card.checks if WALL in check.name] if card else []
    peaks = {name: shot.history.peak("current", name) for name in (*shot.coils, *shot.bodies)}
    return {
        "accuracy": shot.accuracy, "held": shot.held, "end_time_s": float(shot.times[-1]), "interrupted": bool(shot.interrupted),
        "peak_current_A": {name: float(value) for name, (value, _) in peaks.items()},
        "time_of_peak_s": {name: float(time) for name, (_, time) in peaks.items()},
        "radius_ratio": {name: float(shot.radius_ratio(name)) for name in shot.bodies},
        "rim_thickness_ratio": {name: float(shot.thickness_ratio(name)) for name in shot.bodies},
        "card": [{"check": check.name, "value": check.value, "limit": check.limit, "verdict": check.verdict}
                 for check in (card.checks if card else ())],
        "wall_margin_assessed": any(check.value is not None for check in walls),
    }


def _card(shot: Shot) -> Card | None:
    """The card of the rig in the shot's case, of what was computed with the shot."""
    if shot.case is None:
        return None
    shots = card_shots(shot)
    return rig_card(kept_rig(shot.case.name, shot.case.text, shot.section), shots.shot, shots.moving_shot, shots.coil_inductance)


def _version(package: str) -> str | None:
    try:
        return version(package)
    except PackageNotFoundError:
        return None
