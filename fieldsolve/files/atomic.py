"""Output files that are complete or not there at all."""
from __future__ import annotations

import json
import os
import re
import shutil
import stat
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import BinaryIO

STANDARD_OUTPUT = 1                                 # its number
SCREEN = "-"                                        # in place of a path: standard output
PARTIAL = ".{stem}.{process}.partial{suffix}"       # name of a file that is being written, beside its target


def write_atomically(path: str | Path, write: Callable[[Path], object], previous: Path | None = None) -> None:
    """Let `write` fill a temporary file beside `path` (same suffix), then put it in the place of `path`.

    previous  where the file that was there goes, in the same folder; None: nowhere
    Where `write` fails, `path` stays as it was and nothing is left beside it.  "-" is standard output.  A symbolic link stays one: the
    file that it names is written.  A file keeps its permissions.  What is no regular file, such as a pipe, is written to.  Partial files
    that a process which is no more has left are removed.  Raises OSError where the folder cannot be written to.
    """
    if str(path) == SCREEN or is_special(Path(path)):
        _write_through(Path(path), write)
        return
    target = Path(os.path.realpath(path))
    for written in (target, previous) if previous else (target,):
        sweep_partials(written)
    temporary = _partial(target, os.getpid())
    try:
        write(temporary)
        _keep_mode(target, temporary)
        _flush_to_disk(temporary)
        if previous is not None and target.exists():
            _keep_as(target, previous)
        os.replace(temporary, target)
    finally:
        temporary.unlink(missing_ok=True)


def write_json(path: str | Path, facts: dict) -> None:
    """Write `facts` as JSON; a NaN or an infinity in them is a ValueError, never a file."""
    text = json.dumps(facts, indent=2, allow_nan=False) + "\n"
    write_atomically(path, lambda temporary: temporary.write_text(text, encoding="utf-8"))


def is_special(path: Path) -> bool:
    """Whether there is something at the path that is neither a file nor a folder (a device, a pipe, a socket), or standard output."""
    if not path.exists() or path.is_dir():
        return False
    return not path.is_file() or _is_standard_output(path)


def sweep_partials(target: Path) -> None:
    """Remove partial files of a target that processes which are no more have left."""
    pattern = re.compile(re.escape(PARTIAL).replace(r"\{stem\}", re.escape(target.stem)).replace(r"\{process\}", r"(\d+)")
                         .replace(r"\{suffix\}", re.escape(target.suffix)))
    for sibling in target.parent.iterdir():
        match = pattern.fullmatch(sibling.name)
        if match and not _is_running(int(match[1])):
            sibling.unlink(missing_ok=True)


def try_folder(folder: Path) -> None:
    """Raise OSError where no file can be made in a folder."""
    with tempfile.TemporaryFile(dir=folder):
        pass


def _partial(target: Path, process: int) -> Path:
    return target.with_name(PARTIAL.format(stem=target.stem, process=process, suffix=target.suffix))


def _write_through(target: Path, write: Callable[[Path], object]) -> None:
    """Write to a device or a pipe, which has no place beside it and is not replaced."""
    with tempfile.TemporaryDirectory() as folder:
        complete = Path(folder, f"output{target.suffix}")
        write(complete)
        with complete.open("rb") as source, _sink(target) as sink:
            shutil.copyfileobj(source, sink)


def _sink(target: Path) -> BinaryIO:
    if str(target) == SCREEN or _is_standard_output(target):
        return os.fdopen(os.dup(STANDARD_OUTPUT), "wb")             # its own place in the file, not the start
    return target.open("wb")


def _is_standard_output(path: Path) -> bool:
    try:
        return os.path.samestat(path.stat(), os.fstat(STANDARD_OUTPUT))
    except OSError:                     # closed
        return False


def _keep_mode(target: Path, temporary: Path) -> None:
    if target.exists():
        temporary.chmod(stat.S_IMODE(target.stat().st_mode))


def _keep_as(path: Path, other: Path) -> None:
    """Give a file a second name in place of what had that name; where a disk knows no second names, a new one."""
    link = _partial(other, os.getpid())
    link.unlink(missing_ok=True)
    try:
        os.link(path, link)
    except OSError:
        os.replace(path, other)
        return
    os.replace(link, other)
    link.unlink(missing_ok=True)            # still there where both were names of one file already


def _flush_to_disk(path: Path) -> None:
    with path.open("rb") as file:
        os.fsync(file.fileno())


def _is_running(process: int) -> bool:
    """Whether there is such a process; true where the system offers no harmless way to know."""
    if os.name != "posix":
        return True
    try:
        os.kill(process, 0)
    except (ProcessLookupError, OverflowError):
        return False
    except PermissionError:             # there is, of another person
        pass
    return True
