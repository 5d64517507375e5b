"""The log as a folder: shots are put in, added to, read and listed."""
from __future__ import annotations

import datetime
import shutil
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from fieldsolve.cases.case_file import Case
from fieldsolve.errors import InputError, suggestion
from fieldsolve.records.log.entry import (
    ADDITIONS,
    ENTRY,
    FACTS,
    FOLDERS,
    NOTE,
    PHOTO,
    RECORD,
    Addition,
    LogEntry,
    addition_name,
    read_entry,
    utc_now,
    utc_of_file,
)
from fieldsolve.records.log.fields import Value, find_field, parse_value
from fieldsolve.records.log.index import write_index
from fieldsolve.records.log.new_entry import write_new_entry
from fieldsolve.records.log.storage import PARTIAL, create_file, file_hash, flush_to_disk, json_bytes, partial_path, take_name

if TYPE_CHECKING:
    from fieldsolve.shot.result.shot import Shot


@dataclass(frozen=True)
class ShotLog:
    """The log of shots in a folder.

    Several processes may add at once: nothing is overwritten, and nothing is seen that is not complete.

    Parameters
    ----------
    folder : str or Path
        Made with the first shot where it is missing.

    Raises
    ------
    InputError
        Where the folder is a file.

    Examples
    --------
    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     ShotLog(folder).entries()
    ()
    """

    folder: Path

    def __post_init__(self) -> None:
        object.__setattr__(self, "folder", Path(self.folder))
        if self.folder.exists() and not self.folder.is_dir():
            raise InputError(f"log {str(self.folder)!r}: is a file; give a folder")

    def new(self, case: Case, prediction: Shot, title: str = "", facts: Mapping[str, str] | None = None) -> LogEntry:
        """Put a shot that is to be fired into the log, with what is predicted of it.

        Parameters
        ----------
        case : Case
            From `read_case`; its file, and the material files that it names from its folder, are copied.
        prediction : Shot
            Computed of the same case.
        title : str, optional
            What the shot is, in a few words.
        facts : mapping, optional
            As for `add`.

        Returns
        -------
        LogEntry
            Named by the day, in UTC, and a number.

        Raises
        ------
        InputError
            Where the prediction is of another case, or a fact is not known.

        Examples
        --------
        See `fieldsolve/records/log/README.md`.
        """
        if prediction.case is None or prediction.case.text != case.text:
            raise InputError(f"{case.name}: the prediction is of another case"
                             f"{f', {prediction.case.name}' if prediction.case else ''}; compute it of this one: fs.solve_case(case)")
        values = _parse_facts(facts or {}, prediction)
        self.folder.mkdir(parents=True, exist_ok=True)
        partial = partial_path(self.folder)
        try:
            write_new_entry(partial, case, prediction, title)
            folder = self._take_next_name(partial)
        finally:
            shutil.rmtree(partial, ignore_errors=True)
        if values:
            _write_addition(folder, FACTS, {"values": values})
        return self._noted(folder)

    def add(self, name: str, *, record: str | Path | None = None, channels: Mapping[str, Mapping[str, Any]] | None = None,
            photos: Iterable[str | Path] = (), facts: Mapping[str, str] | None = None, note: str = "", replace: bool = False,
            time_unit: str | None = None) -> LogEntry:
        """Add to a shot; what is there stays as it is.

        Parameters
        ----------
        name : str
            Of the shot.
        record : str or Path, optional
            File of an instrument, copied as it is.
        channels : mapping, optional
            What is known of its channels by role: {"current": {"column": 1, "scale": 1e3, "delay": 0.0}}.
        photos : iterable of str or Path, optional
            Files, copied as they are.
        facts : mapping, optional
            Text by name, such as {"diameter of disc": "25.92 mm, 25.90 mm, 25.94 mm, 25.91 mm", "operator": "N. N."}.
        note : str, optional
            Anything else, such as a misfire.
        replace : bool, optional
            A file of a name that is there, or a fact, takes the other's place; the other one is kept.
        time_unit : str, optional
            Of the record's time, such as 'us', where the file does not say and it is not seconds.

        Returns
        -------
        LogEntry

        Raises
        ------
        InputError
            For an unknown shot or fact, a file that cannot be read, and for what is there already, unless it is to be replaced.

        Examples
        --------
        See `fieldsolve/records/log/README.md`.
        """
        entry = self.entry(name)
        values = _parse_facts(facts or {}, entry)
        if not replace and (known := sorted(set(values) & set(entry.facts))):
            raise InputError(f"{name}: {known[0]} is there already, {entry.facts[known[0]].text!r}; replace it to have another value count")
        files = [(RECORD, Path(record))] if record is not None else []
        files += [(PHOTO, Path(photo)) for photo in photos]
        replaced = [_find_replaced(entry, kind, path, replace) for kind, path in files]
        for (kind, path), number in zip(files, replaced, strict=True):
            about = {"written": utc_of_file(path), "channels": {role: dict(values) for role, values in (channels or {}).items()},
                     "time_unit": time_unit}
            _write_file_addition(entry.folder, kind, path.name, lambda partial, path=path: shutil.copyfile(path, partial),
                                 about if kind == RECORD else {}, number)
        if values:
            _write_addition(entry.folder, FACTS, {"values": values})
        if note:
            _write_addition(entry.folder, NOTE, {"text": note})
        return self._noted(entry.folder)

    def add_file(self, name: str, kind: str, file_name: str, write: Callable[[Path], object], facts: dict[str, Any]) -> LogEntry:
        """Add a file that `write` fills, with facts beside it."""
        entry = self.entry(name)
        _write_file_addition(entry.folder, kind, file_name, write, facts, None)
        return self._noted(entry.folder)

    def entries(self) -> tuple[LogEntry, ...]:
        """All shots, in the order of their names.

        Returns
        -------
        tuple of LogEntry

        Raises
        ------
        InputError
            Where one is damaged.

        Examples
        --------
        >>> ShotLog("no such folder").entries()
        ()
        """
        return tuple(read_entry(self.folder / name) for name in self.names())

    def names(self) -> list[str]:
        """Names of all shots in order."""
        if not self.folder.is_dir():
            return []
        return sorted(path.name for path in self.folder.iterdir() if (path / ENTRY).is_file() and not path.name.startswith(PARTIAL))

    def entry(self, name: str) -> LogEntry:
        """One shot by name; InputError, with the nearest name, where there is none.

        Parameters
        ----------
        name : str

        Returns
        -------
        LogEntry

        Raises
        ------
        InputError
            Where there is no such shot, or it is damaged.

        Examples
        --------
        >>> ShotLog("no such folder").entry("2026-11-28-001")
        Traceback (most recent call last):
        ...
        geometries.errors.InputError: log no such folder: there is no shot '2026-11-28-001'; it is empty
        """
        names = self.names()
        if name not in names:
            raise InputError(f"log {self.folder}: there is no shot {name!r}; {suggestion(name, names) if names else 'it is empty'}")
        return read_entry(self.folder / name)

    def _take_next_name(self, partial: Path) -> Path:
        """Give a complete folder the next name of today that is free."""
        day = datetime.datetime.now(datetime.UTC).date().isoformat()
        number = 1 + max((int(name[len(day) + 1:]) for name in self.names() if name.startswith(f"{day}-")), default=0)
        while True:
            folder = self.folder / f"{day}-{number:03d}"
            try:
                take_name(partial, folder)
            except FileExistsError:
                number += 1
                continue
            flush_to_disk(self.folder)
            return folder

    def _noted(self, folder: Path) -> LogEntry:
        write_index(self.folder, self.names)
        return read_entry(folder)


def _parse_facts(facts: Mapping[str, str], owner: Shot | LogEntry) -> dict[str, dict[str, Any]]:
    """Values by name as they are written."""
    parts = owner.parts if isinstance(owner, LogEntry) else (owner.coils, owner.bodies)
    parsed: dict[str, Value] = {name: parse_value(find_field(name, *parts), text) for name, text in facts.items()}
    return {name: value.facts for name, value in parsed.items()}


def _find_replaced(entry: LogEntry, kind: str, path: Path, replace: bool) -> int | None:
    """Number of the addition whose file has the same name; InputError where there is one and it is not to be replaced."""
    if not path.is_file():
        raise InputError(f"no such {kind}: {str(path)!r}; give a file")
    same = [addition for addition in entry.current(kind) if addition.facts.get("name") == path.name]
    if same and not replace:
        raise InputError(f"{entry.name}: a {kind} {path.name} is there already, of {same[-1].added}; give another name, or replace it")
    return same[-1].number if same else None


def _write_file_addition(folder: Path, kind: str, name: str, write: Callable[[Path], object], facts: dict[str, Any],
                         replaces: int | None) -> None:
    """The file first and then the addition that names it, so that an addition always has its file."""
    place = folder / FOLDERS[kind]
    place.mkdir(exist_ok=True)
    path, number = place / name, 1
    while True:
        try:
            create_file(path, write)
            break
        except FileExistsError:
            number += 1
            path = place / f"{number}-{name}"
    _write_addition(folder, kind, {"name": name, **facts}, f"{FOLDERS[kind]}/{path.name}", file_hash(path), replaces)


def _write_addition(folder: Path, kind: str, facts: dict[str, Any], file: str | None = None, sha256: str | None = None,
                    replaces: int | None = None) -> None:
    """One more addition, under the next number that is free; it holds the hash of the one before."""
    number = 1 + max((int(path.stem) for path in (folder / ADDITIONS).glob("[0-9]*.json")), default=0)
    while True:
        before = folder / (ENTRY if number == 1 else addition_name(number - 1))
        addition = Addition(number, kind, utc_now(), facts, file, sha256, replaces, file_hash(before))
        try:
            create_file(folder / addition_name(number), lambda partial, addition=addition: partial.write_bytes(json_bytes(vars(addition))))
            return
        except FileExistsError:
            number += 1
