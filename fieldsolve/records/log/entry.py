"""One shot in the log, as read from its folder: what it holds, what is missing, and what is not as it was stored."""
from __future__ import annotations

import datetime
import tomllib
from collections.abc import Iterator
from dataclasses import asdict, dataclass
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any

from fieldsolve.errors import InputError
from fieldsolve.files.bundles import check_files_within
from fieldsolve.files.toml_reading import read_toml_text
from fieldsolve.records.log.fields import Value, missing_fields
from fieldsolve.records.log.shape import ADDITION, FACTS_OF, STORED, check_shape
from fieldsolve.records.log.storage import file_hash, read_json

if TYPE_CHECKING:
    from fieldsolve.shot.result.shot import Shot

FORMAT, FORMAT_VERSION = "fieldsolve shot log", 1
ENTRY, ADDITIONS, PREDICTION = "entry.json", "additions", "prediction.shot.npz"
RECORD, PHOTO, FACTS, NOTE, COMPARISON = "record", "photo", "facts", "note", "comparison"     # kinds of additions
FOLDERS = {RECORD: "records", PHOTO: "photos", COMPARISON: "comparisons"}                     # where the file of an addition lies


@dataclass(frozen=True)
class Addition:
    """One thing that was added to a shot.

    number   from 1 on
    kind     'record', 'photo', 'facts', 'note' or 'comparison'
    added    when, UTC in ISO 8601
    facts    what was written: values by name, text, channels, rows
    file     path of its file in the folder of the shot, None where it has none
    sha256   of that file
    replaces number of the addition in whose place it is, or None
    previous sha256 of the JSON file of the addition before, of the first one that of entry.json
    """

    number: int
    kind: str
    added: str
    facts: dict[str, Any]
    file: str | None = None
    sha256: str | None = None
    replaces: int | None = None
    previous: str = ""


@dataclass(frozen=True, eq=False)
class LogEntry:
    """A shot in the log.  Made by `ShotLog`; reading it computes nothing.

    Attributes
    ----------
    folder : Path
        Its folder; the folder's name is the shot's.
    stored : dict
        What entry.json holds: title, time, case, prediction, software.
    additions : tuple of Addition
        In the order they were added.

    Examples
    --------
    >>> LogEntry(Path("2026-11-28-001"), {"title": "first", "coils": [], "bodies": []}, ()).name
    '2026-11-28-001'
    """

    folder: Path
    stored: dict[str, Any]
    additions: tuple[Addition, ...]

    @property
    def name(self) -> str:
        """Name of the shot."""
        return self.folder.name

    @property
    def title(self) -> str:
        """What the shot is, in a few words."""
        return self.stored["title"]

    @property
    def created(self) -> str:
        """When its prediction was stored, UTC in ISO 8601."""
        return self.stored["created"]

    @property
    def parts(self) -> tuple[tuple[str, ...], tuple[str, ...]]:
        """Names of the coils and of the bodies."""
        return tuple(self.stored["coils"]), tuple(self.stored["bodies"])

    @cached_property
    def case_text(self) -> str:
        """The case file as it was."""
        return read_toml_text(self.case_path, "case file")

    @property
    def case_path(self) -> Path:
        """The case file in the log."""
        return self.folder / self.stored["case"]["file"]

    @property
    def prediction_path(self) -> Path:
        """The kept shot that was computed before."""
        return self.folder / PREDICTION

    def prediction(self) -> Shot:
        """The shot that was computed before; InputError where it is not the one that was stored."""
        from fieldsolve.shot.load import load_shot

        if (problem := self._changed(PREDICTION, self.stored["prediction"]["sha256"], "the prediction")) is not None:
            raise InputError(f"{self.name}: {problem}; what was predicted is not known any more")
        return load_shot(self.prediction_path)

    def current(self, kind: str) -> tuple[Addition, ...]:
        """The additions of a kind, without those in whose place there is another one."""
        replaced = {addition.replaces for addition in self.additions}
        return tuple(addition for addition in self.additions if addition.kind == kind and addition.number not in replaced)

    @cached_property
    def facts(self) -> dict[str, Value]:
        """What was written down, by name; the last value counts."""
        return {name: Value(value["text"], tuple(value["numbers"]), value["uncertainty"])
                for addition in self.current(FACTS) for name, value in addition.facts["values"].items()}

    def missing(self) -> list[tuple[str, str]]:
        """(heading, what) of each thing that a log of a shot should hold at least, and this one does not."""
        missing = missing_fields(tomllib.loads(self.case_text), self.facts, *self.parts)
        records = self.current(RECORD)
        if not records:
            missing.append(("channels", "a record"))
        for record in records:
            name = Path(record.file or "").name
            missing += [("channels", f"{word} of each channel in {name}") for word in ("scale", "delay")
                        if not record.facts["channels"] or not all(word in channel for channel in record.facts["channels"].values())]
        if not self.stored["prediction"]["wall_margin_assessed"]:
            missing.append(("prediction", "the wall's margin: [box] in the case file, and a prediction with its card"))
        if not self.current(COMPARISON):
            missing.append(("reductions", "a comparison"))
        return missing

    def problems(self) -> list[str]:
        """A sentence for each thing that is not as it was stored."""
        return [problem for problem in self._checks() if problem is not None]

    def _checks(self) -> Iterator[str | None]:
        yield self._changed(self.stored["case"]["file"], self.stored["case"]["sha256"], "the case file")
        yield self._changed(PREDICTION, self.stored["prediction"]["sha256"], "the prediction")
        yield from (self._changed(file["file"], file["sha256"], "a file of the case") for file in self.stored["case"]["metals"])
        for addition in self.additions:
            if addition.file is not None:
                yield self._changed(addition.file, addition.sha256, f"the {addition.kind}")
            before = ENTRY if addition.number == 1 else addition_name(addition.number - 1)
            yield self._changed(before, addition.previous, "what was written down")
            if addition.kind == RECORD and addition.facts["written"] < self.created:
                yield (f"the record {Path(addition.file or '').name} is of {addition.facts['written']} and the prediction was stored "
                       f"at {self.created}: not before the shot, unless a clock is wrong")
        numbers = [addition.number for addition in self.additions]
        if numbers != list(range(1, len(numbers) + 1)):
            yield f"of the additions {numbers} some are gone"

    def _changed(self, file: str, sha256: str | None, what: str) -> str | None:
        path = self.folder / file
        if not path.is_file():
            return f"{what}, {file}, is gone"
        same = file_hash(path) == sha256
        return None if same else f"{what}, {file}, has CHANGED since it was stored: its SHA-256 is not the one in the log"


def addition_name(number: int) -> str:
    """Path of the JSON file of an addition within the folder of its shot."""
    return f"{ADDITIONS}/{number:04d}.json"


def read_entry(folder: Path) -> LogEntry:
    """The shot in a folder; InputError where that is no shot of a log, is damaged, or was written by a later version."""
    path = folder / ENTRY
    if not path.is_file():
        raise InputError(f"{folder}: is no shot of a log: there is no {ENTRY}")
    stored = read_json(path)
    if stored.get("format") != FORMAT or not isinstance(stored.get("version"), int):
        raise InputError(f"{path}: is no file of a shot log")
    if stored["version"] > FORMAT_VERSION:
        raise InputError(f"{path}: is of format {stored['version']}, this version reads up to {FORMAT_VERSION}: install a later one")
    check_shape(stored, STORED, str(path))
    files = sorted((folder / ADDITIONS).glob("[0-9]*.json"), key=lambda file: int(file.stem))
    entry = LogEntry(folder, stored, tuple(_read_addition(file) for file in files))
    check_files_within(folder, _file_names(entry))
    return entry


def _file_names(entry: LogEntry) -> Iterator[str | None]:
    """Every file of a shot, by its name within the folder."""
    yield from (ENTRY, PREDICTION, entry.stored["case"]["file"])
    yield from (metal["file"] for metal in entry.stored["case"]["metals"])
    for addition in entry.additions:
        yield from (addition_name(addition.number), addition.file)


def _read_addition(path: Path) -> Addition:
    content = read_json(path)
    try:
        addition = Addition(**content)
    except TypeError:
        raise InputError(f"{path}: is no addition to a shot of this log; take another copy") from None
    check_shape(asdict(addition), ADDITION, str(path))
    check_shape(addition.facts, FACTS_OF.get(addition.kind, {}), f"{path}, facts")
    return addition


def utc_now() -> str:
    """The time as it is written in the log: UTC in ISO 8601."""
    return datetime.datetime.now(datetime.UTC).isoformat(timespec="microseconds")


def utc_of_file(path: Path) -> str:
    """When a file was last written, UTC in ISO 8601."""
    return datetime.datetime.fromtimestamp(path.stat().st_mtime, datetime.UTC).isoformat(timespec="microseconds")
