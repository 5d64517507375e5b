"""One zip file with a JSON header, plain data and arrays, written complete or not at all, and refused where it is not what was written.

    header.json    what the file is, by which versions on which platform and when it was written, and the SHA-256 of the rest
    content.json   the plain data
    arrays/N.npy   array N; numpy opens it too: numpy.load(file)["arrays/N"]
"""
from __future__ import annotations

import hashlib
import io
import json
import math
import platform
import struct
import zipfile
import zlib
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from typing import Any

import numpy as np

from fieldsolve.errors import FieldError, InputError
from fieldsolve.files import write_atomically
from fieldsolve.files.bundles import check_archive
from fieldsolve.files.provenance import sign_zip
from fieldsolve.version import VERSION

HEADER, CONTENT = "header.json", "content.json"
LARGEST_HEADER = 1_000_000      # bytes
COMPRESSION_LEVEL = 1           # zlib's fastest: higher ones take longer and save less than a hundredth
DAMAGE = (zipfile.BadZipFile, zlib.error, struct.error, EOFError, NotImplementedError, OSError, ValueError)      # what it raises
PACKAGES = ("numpy", "scipy", "scikit-fem", "gmsh")


@dataclass(frozen=True)
class Format:
    """What a container holds, in the words of its header and of errors.

    name        in the header
    version     the latest one, which this program writes
    holds       in words
    written_by  what writes such a file
    packed      whether it is compressed
    """

    name: str
    version: int
    holds: str
    written_by: str
    packed: bool = True


SHOT = Format("fieldsolve shot", 1, "kept shot", "shot.save or `fieldsolve shot --save`")


def write_container(path: str | Path, content: Any, arrays: list[np.ndarray], facts: Mapping[str, Any], form: Format = SHOT,
                    previous: Path | None = None) -> None:
    """Write plain data and arrays; `facts` are further entries of the header, `previous` is where the file goes that is replaced."""
    header = {"format": form.name, "version": form.version, "written": datetime.now(UTC).isoformat(timespec="seconds"),
              "software": _versions(), "platform": platform.platform(), **facts}

    def write(partial: Path) -> None:
        digest = hashlib.sha256(_header_bytes(header))
        method = zipfile.ZIP_DEFLATED if form.packed else zipfile.ZIP_STORED
        with zipfile.ZipFile(partial, "w", method, compresslevel=COMPRESSION_LEVEL) as file:
            for name, data in _members(content, arrays):
                _add_to_hash(digest, name, data)
                file.writestr(name, data)
            file.writestr(HEADER, json.dumps(header | {"sha256": digest.hexdigest()}, indent=2, allow_nan=False))
        sign_zip(partial)
    write_atomically(path, write, previous)


def read_header(path: str | Path, form: Format = SHOT) -> dict[str, Any]:
    """The header of a kept file.

    Raises InputError for what is no file, is cut short, is of another format or of a newer version.
    """
    with _opened(Path(path), form) as file:
        return _header(Path(path), file, form)


def read_container(path: str | Path, form: Format = SHOT) -> tuple[dict[str, Any], Any, list[np.ndarray]]:
    """Header, plain data and arrays of a kept file.

    Raises InputError as `read_header`, and where the content is not the one that was written.
    """
    path, members = Path(path), {}
    with _opened(path, form) as file:
        header = _header(path, file, form)
        digest = hashlib.sha256(_header_bytes({key: value for key, value in header.items() if key != "sha256"}))
        try:
            for name in file.namelist():
                if name != HEADER:
                    members[name] = file.read(name)
                    _add_to_hash(digest, name, members[name])
        except DAMAGE as error:
            raise InputError(f"{path.name}: the content is damaged ({error}); take another copy") from None
    if digest.hexdigest() != header.get("sha256"):
        raise InputError(f"{path.name}: the content has changed since it was written: its SHA-256 is not the header's; take another copy")
    try:
        arrays = [_read_array(members[f"arrays/{k}.npy"]) for k in range(len(members) - 1)]
        return header, json.loads(members[CONTENT]), arrays
    except (KeyError, ValueError, RecursionError, MemoryError) as error:
        raise InputError(f"{path.name}: holds what no {form.holds} holds ({type(error).__name__}: {error}); take another copy") from None


@contextmanager
def content_of(path: Path, header: Mapping[str, Any], form: Format) -> Iterator[None]:
    """Errors in what is made of the content of a file, as one InputError that names the file.

    The hash tells that the content is what somebody wrote, not that this program did.
    """
    try:
        yield
    except FieldError as error:
        raise InputError(f"{path.name}: {error}; fieldsolve {_written_by(header)} has written it") from error
    except (LookupError, TypeError, ValueError, AttributeError, ArithmeticError, RecursionError, MemoryError) as error:
        raise InputError(f"{path.name}: holds what no {form.holds} holds ({type(error).__name__}: {error}); take another copy") from error


def _opened(path: Path, form: Format) -> zipfile.ZipFile:
    if not path.is_file():
        raise InputError(f"no such file: {str(path)!r}; give one that {form.written_by} has written")
    try:
        archive = zipfile.ZipFile(path)
    except DAMAGE:
        with path.open("rb") as file:
            is_zip = file.read(2) == b"PK"
        reason = "it is cut short: copy it again" if is_zip else f"it is of another kind: give one that {form.written_by} has written"
        raise InputError(f"{path.name}: no {form.holds} can be read from it; {reason}") from None
    check_archive(archive, path.name)
    return archive


def _header(path: Path, file: zipfile.ZipFile, form: Format) -> dict[str, Any]:
    try:
        header = json.loads(file.read(HEADER)) if file.getinfo(HEADER).file_size <= LARGEST_HEADER else {}
    except (*DAMAGE, KeyError, RecursionError):
        header = {}
    if not isinstance(header, dict) or header.get("format") != form.name or not isinstance(header.get("version"), int):
        raise InputError(f"{path.name}: is a zip file, but no {form.holds}; give one that {form.written_by} has written")
    if header["version"] > form.version:
        raise InputError(f"{path.name}: written by fieldsolve {_written_by(header)} in format {header['version']}, this is {VERSION} and "
                         f"reads up to format {form.version}: install the later version")
    return header


def _written_by(header: Mapping[str, Any]) -> str:
    software = header.get("software")
    return str(software.get("fieldsolve")) if isinstance(software, dict) else "of another version"


def _members(content: Any, arrays: list[np.ndarray]) -> Iterator[tuple[str, bytes]]:
    yield CONTENT, json.dumps(content, allow_nan=False).encode()
    for k, array in enumerate(arrays):
        buffer = io.BytesIO()
        np.lib.format.write_array(buffer, array, allow_pickle=False)
        yield f"arrays/{k}.npy", buffer.getvalue()


def _read_array(data: bytes) -> np.ndarray:
    """An array without objects, whose size is that of its data; ValueError for another."""
    file = io.BytesIO(data)
    reader = np.lib.format.read_array_header_1_0 if np.lib.format.read_magic(file) == (1, 0) else np.lib.format.read_array_header_2_0
    shape, _, dtype = reader(file)
    if math.prod(shape) * dtype.itemsize != len(data) - file.tell():
        raise ValueError(f"an array of shape {shape} with {len(data) - file.tell()} bytes")
    return np.lib.format.read_array(io.BytesIO(data), allow_pickle=False)


def _add_to_hash(digest, name: str, data: bytes) -> None:
    digest.update(f"{name} {len(data)} ".encode())
    digest.update(data)


def _header_bytes(header: Mapping[str, Any]) -> bytes:
    return json.dumps(header, sort_keys=True).encode()


def _versions() -> dict[str, str | None]:
    found: dict[str, str | None] = {"fieldsolve": VERSION, "python": platform.python_version()}
    for package in PACKAGES:
        try:
            found[package] = version(package)
        except PackageNotFoundError:
            found[package] = None
    return found
