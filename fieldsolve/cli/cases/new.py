"""The command `fieldsolve new`: a case file with comments, to fill in."""
from __future__ import annotations

import argparse

from fieldsolve.cli.arguments import add_command


def add_new(commands) -> None:
    """Add the command to those of the parser."""
    new = add_command(commands, "new", run_new, "a case file with comments, to fill in",
                      "Write a case file of a coil, a blank and a bank, each line with its meaning.  Its numbers are invented: put your "
                      "own in their place.  A file that is there is not written over.")
    new.add_argument("case", metavar="NAME.toml", help="the case file to be made")


def run_new(options: argparse.Namespace) -> None:
    """Write the file."""
    from pathlib import Path

    from fieldsolve.cases.template import TEMPLATE
    from fieldsolve.errors import InputError
    from fieldsolve.files import write_atomically

    path = Path(options.case)
    if path.suffix != ".toml":
        raise InputError(f"{options.case}: a case file's name ends in .toml; give {path.name}.toml, say")
    if path.exists():
        raise InputError(f"{options.case}: is there already; give another name")
    if not path.parent.is_dir():
        raise InputError(f"{options.case}: no such folder: {path.parent}; make it first")
    write_atomically(path, lambda partial: partial.write_text(TEMPLATE, encoding="utf-8"))
    print(f"written: {options.case}; fill it in, then: fieldsolve check {options.case}")
