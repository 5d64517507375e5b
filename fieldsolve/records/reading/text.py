"""The text of a file, block by block: its encoding found, its size limited before it is read."""
from __future__ import annotations

import codecs
import hashlib
import re
from collections.abc import Iterator
from pathlib import Path

from fieldsolve.errors import InputError

LARGEST = 2_000_000_000           # bytes of a file
BLOCK = 1 << 20                   # bytes read at once
LONGEST_LINE = 1 << 16            # characters
MARKS = ((codecs.BOM_UTF8, "utf-8-sig"), (codecs.BOM_UTF16_LE, "utf-16"), (codecs.BOM_UTF16_BE, "utf-16"))
_CONTROL = re.compile(rb"[\x00-\x08\x0b\x0e-\x1b\x1c-\x1f\x7f]")
MOST_CONTROL = 0.002              # share of control characters in a text


def check_file(path: Path) -> None:
    """InputError where there is no regular file, or one that is empty or too large."""
    if not path.exists():
        raise InputError(f"no such record: {str(path)!r}; give a file of columns, time in s and current in A")
    if not path.is_file():
        raise InputError(f"no such record: {str(path)!r} is a folder or a device; give a file of columns, time in s and current in A")
    size = path.stat().st_size
    if size == 0:
        raise InputError(f"{path.name}: is empty; export the record again")
    if size > LARGEST:
        raise InputError(f"{path.name}: has {size / 1e9:.1f} GB, a record at most {LARGEST / 1e9:g} GB; export fewer samples")


def encoding_of(path: Path) -> str:
    """The encoding of a text file, from its mark or its first bytes.

    Raises InputError where it is no text.
    """
    with path.open("rb") as file:
        start = file.read(1 << 18)
    for mark, name in MARKS:
        if start.startswith(mark):
            return name
    head = start[:4096]
    if b"\0" in head:
        return _wide_encoding(path, head)
    if len(_CONTROL.findall(start)) > MOST_CONTROL * len(start):
        raise _no_text(path)
    return "utf-8"


def _wide_encoding(path: Path, head: bytes) -> str:
    """UTF-16 without a mark: of digits and Latin letters every other byte is zero."""
    even, odd = head[0::2].count(0), head[1::2].count(0)
    half = len(head) // 2
    if odd > 0.8 * half and even < 0.05 * half:
        return "utf-16-le"
    if even > 0.8 * half and odd < 0.05 * half:
        return "utf-16-be"
    raise _no_text(path)


def _no_text(path: Path) -> InputError:
    return InputError(f"{path.name}: is not text; export the record as CSV, or give the instrument's own file with its own suffix and "
                      "install the extra 'scope' (pip install 'fieldsolve[scope]')")


def blocks(path: Path, encoding: str, digest: hashlib._Hash | None = None) -> Iterator[str]:
    """Whole lines of the file, about BLOCK bytes at a time, each ended by a line feed; `digest` is fed with the bytes.

    UTF-8 that turns out not to be is read on as Latin-1.
    """
    decode, rest, all_latin = codecs.getincrementaldecoder(encoding)(), "", False
    with path.open("rb") as file:
        while chunk := file.read(BLOCK):
            if digest is not None:
                digest.update(chunk)
            try:
                text = chunk.decode("latin-1") if all_latin else decode.decode(chunk)
            except UnicodeDecodeError:
                if encoding not in ("utf-8", "utf-8-sig"):
                    raise _no_text(path) from None
                all_latin, text = True, (decode.getstate()[0] + chunk).decode("latin-1")
            text = rest + text
            if not text.endswith("\r"):
                text = text.replace("\r\n", "\n").replace("\r", "\n")
            lines, _, rest = text.rpartition("\n")
            if len(rest) > LONGEST_LINE:
                raise InputError(f"{path.name}: a line has more than {LONGEST_LINE} characters; a record has one row of numbers a line")
            if lines:
                yield lines + "\n"
    if rest.strip():
        yield rest.replace("\r\n", "\n").replace("\r", "\n") + "\n"
