"""The outputs of a command: their options, whether they can be written and destroy nothing, and their names at the end."""
from __future__ import annotations

import argparse
import os
import re
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

from fieldsolve.files import SCREEN, is_special, try_folder

if TYPE_CHECKING:
    from fieldsolve.cases.case_file import Case

FIGURE_SUFFIXES = (".png", ".pdf", ".svg")
KEPT_SUFFIX = ".shot.npz"                   # of a kept shot, so that it is not taken for a table of series
CHECKPOINT_SUFFIX = ".checkpoint.npz"       # of a shot that is being computed
FILES = {                                   # options whose value is an output file, and the suffixes that its name may have
    "json": (".json",), "csv": (".csv",), "npz": (".npz",), "vtu": (".vtu",), "figure": FIGURE_SUFFIXES, "report": (".html",),
    "save": (KEPT_SUFFIX,), "frames_csv": (".csv",), "movie": (".gif", ".mp4"), "calibration": (".toml",),
    "checkpoint": (CHECKPOINT_SUFFIX,),
}
FOLDERS = ("figures",)                      # options whose value is a folder
DRAWINGS = re.compile(r"(current|disc|body_\d+|field|force|temperature|energy|inductance|sections|shape|metal|map|current_density|"
                      r"plot_\d+)\.png")
TEXT_FILES = ("json", "csv")                # which can go to the screen
INPUTS = {"case": "the case file", "measured": "--measured", "shot": "the kept shot", "resume": "--resume", "record": "the record",
          "second": "the second record", "load": "--load", "name": "the metal file", "sweep": "the sweep file", "design": "the design file"}


def add_force(command: argparse.ArgumentParser) -> None:
    """The option to write over files of others."""
    command.add_argument("--force", action="store_true", help="write over files that this program has not written, too")


def check_outputs(options: argparse.Namespace, case: Case | None = None) -> None:
    """Find out before a solve what cannot be written after it, or what would destroy an input: InputError that names the option."""
    from fieldsolve.errors import InputError

    taken = dict(_inputs(options, case))
    for option, target in written_options(options):
        label = f"--{option.replace('_', '-')} {target}"
        if target == SCREEN:
            _check_screen(option, options)
            continue
        _check_name(option, Path(target), label)
        if is_special(Path(target)):
            continue
        for place in _places(Path(target)):
            if place in taken:
                raise InputError(f"{label}: is also {taken[place]}, which would be lost; give another name")
            taken[place] = f"--{option}"
        _check_writable(Path(target), label)
        if not options.force:
            _check_own(option, Path(target), label)


def written_options(options: argparse.Namespace) -> Iterator[tuple[str, str]]:
    """Option and target of every output that was requested."""
    for option in (*FILES, *FOLDERS):
        if getattr(options, option, None) is not None:
            yield option, getattr(options, option)


def writes_to_screen(options: argparse.Namespace) -> bool:
    """Whether an output takes standard output, so that all else goes to standard error."""
    return any(target == SCREEN for _, target in written_options(options))


def print_written(options: argparse.Namespace, left_out: tuple[str, ...] = ()) -> None:
    """Name what was written, and what was left out."""
    targets = [f"{target}{os.sep if option in FOLDERS else ''}" for option, target in written_options(options)
               if option not in left_out and target != SCREEN]
    if targets:
        print("written:", ", ".join(targets))
    missing = [f"--{option}" for option, _ in written_options(options) if option in left_out]
    if missing:
        print("not written:", ", ".join(missing), file=sys.stderr)


def _inputs(options: argparse.Namespace, case: Case | None) -> Iterator[tuple[Any, str]]:
    """Identity of each file that is read, and what it is."""
    from fieldsolve.cases.part_tables import material_files

    for name, label in INPUTS.items():
        source = getattr(options, name, None)
        if isinstance(source, str):
            yield from ((place, f"{label} {source}") for place in _places(Path(source)))
    for path in material_files(case.tables, case.folder) if case else ():
        yield from ((place, f"the metal file {path.name}") for place in _places(path))


def _places(path: Path) -> list[Any]:
    """What makes two names one file: the path without links, and where there is a file its number on its disk."""
    try:
        status = path.stat()
    except OSError:
        return [os.path.realpath(path)]
    return [os.path.realpath(path), (status.st_dev, status.st_ino)]


def _check_screen(option: str, options: argparse.Namespace) -> None:
    from fieldsolve.errors import InputError

    if option not in TEXT_FILES:
        raise InputError(f"--{option} -: is no text that a screen shows; give a file name that ends in {' or '.join(FILES[option])}")
    others = [other for other, target in written_options(options) if target == SCREEN and other != option]
    if others:
        raise InputError(f"--{option} - and --{others[0]} -: only one output can go to the screen; give the other a file name")


def _check_name(option: str, path: Path, label: str) -> None:
    from fieldsolve.errors import InputError

    if not path.parent.is_dir():
        raise InputError(f"{label}: no such folder: {path.parent}; make it first")
    if option in FOLDERS:
        if path.exists() and not path.is_dir():
            raise InputError(f"{label}: is a file; give a folder")
        return
    if path.is_dir():
        raise InputError(f"{label}: is a folder; give a file name")
    if not path.name.lower().endswith(FILES[option]) and not is_special(path):
        screen = ", or be - for the screen" if option in TEXT_FILES else ""
        raise InputError(f"{label}: the name must end in {' or '.join(FILES[option])}{screen}")


def _check_writable(path: Path, label: str) -> None:
    from fieldsolve.errors import InputError

    folder = path if path.is_dir() else Path(os.path.realpath(path)).parent
    try:
        try_folder(folder)
    except OSError as error:
        raise InputError(f"{label}: nothing can be written to the folder {folder} ({error.strerror}); give another") from None


def _check_own(option: str, path: Path, label: str) -> None:
    """Refuse to write over a file that this program has not written."""
    from fieldsolve.errors import InputError
    from fieldsolve.files.provenance import is_own_file

    paths = [file for file in sorted(path.glob("*.png")) if DRAWINGS.fullmatch(file.name)] if option in FOLDERS else [path]
    for existing in paths:
        if existing.is_file() and not is_own_file(existing):
            raise InputError(f"{label}: {existing.name} is there and was not written by fieldsolve; give another name, or --force to "
                             "write over it")
