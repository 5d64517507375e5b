"""Archives and folders that come from elsewhere: what they hold is checked by its names and sizes before anything of it is read."""
from __future__ import annotations

import stat
import zipfile
from collections import Counter
from collections.abc import Iterable
from pathlib import Path, PurePosixPath

from fieldsolve.errors import InputError

LARGEST = 4_000_000_000         # bytes that an archive holds, unpacked
LARGEST_MEMBER = 2_000_000_000
MOST_MEMBERS = 100_000
MOST_GROWTH = 1100              # times the packed size: more than the method of zip files can pack honest data


def check_archive(archive: zipfile.ZipFile, name: str) -> None:
    """Refuse by its directory alone an archive that unpacks to too much, or holds links, paths or secrets: InputError."""
    members = archive.infolist()
    if len(members) > MOST_MEMBERS:
        raise InputError(f"{name}: holds {len(members)} members, more than {MOST_MEMBERS}: it is not what was written")
    if repeated := [member for member, count in Counter(info.filename for info in members).items() if count > 1]:
        raise InputError(f"{name}: holds {repeated[0]!r} twice: it is not what was written")
    for info in members:
        _check_member(info, name)
    if (total := sum(info.file_size for info in members)) > LARGEST:
        raise InputError(f"{name}: unpacks to {total / 1e9:.3g} GB, more than {LARGEST / 1e9:g} GB: it is not what was written")


def _check_member(info: zipfile.ZipInfo, name: str) -> None:
    if not is_plain_name(info.filename):
        raise InputError(f"{name}: holds {info.filename!r}, which leads out of it")
    if stat.S_ISLNK(info.external_attr >> 16):
        raise InputError(f"{name}: holds {info.filename!r}, which is a link: it is not what was written")
    if info.flag_bits & 1:
        raise InputError(f"{name}: holds {info.filename!r}, which is encrypted: it is not what was written")
    if info.file_size > LARGEST_MEMBER or info.file_size > MOST_GROWTH * (info.compress_size + 100):
        raise InputError(f"{name}: holds {info.filename!r}, which unpacks from {info.compress_size} to {info.file_size} bytes: "
                         "it is not what was written")


def is_plain_name(name: str) -> bool:
    """Whether a name stays below the folder that it is taken from, on every system."""
    parts = PurePosixPath(name).parts
    return bool(parts) and not name.startswith("/") and ".." not in parts and not set(name) & set("\\:\0")


def check_files_within(folder: Path, names: Iterable[str | None]) -> None:
    """Refuse names of files that lead out of a folder, by themselves or over a link: InputError."""
    for name in names:
        if name is None:
            continue
        if not isinstance(name, str) or not is_plain_name(name):
            raise InputError(f"{folder}: names the file {name!r}, which leads out of it; take another copy")
        for place in (folder / name, *(folder / name).parents):
            if place == folder:
                break
            if place.is_symlink():
                raise InputError(f"{folder}: {place.relative_to(folder)} is a link, which could lead anywhere; put the file itself there")
