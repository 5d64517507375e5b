"""What the commands of many runs share: where runs are computed, where they are kept, and what is written of them."""
from __future__ import annotations

import argparse
from pathlib import Path
from typing import Any

from fieldsolve.cli.arguments import add_json


def add_running(command: argparse.ArgumentParser, kind: str) -> None:
    """The options that say where runs are computed and kept; `kind` is the file's."""
    command.add_argument("--workers", metavar="N", type=int, help="processes on this machine (default: one a core)")
    command.add_argument("--scheduler", metavar="ADDRESS", help="compute on the workers of a scheduler of dask.distributed, such as "
                         "tcp://10.0.0.1:8786")
    command.add_argument("--store", metavar="FOLDER", help="keep finished runs there (default: the name of the "
                         f"{kind} file with .runs, beside it)")
    command.add_argument("--resume", action="store_true", help="go on with the runs that are kept, and compute only what is missing")
    command.add_argument("--yes", action="store_true", help="compute more than 100 000 runs")
    command.add_argument("--csv", metavar="FILE.csv", help="write the rows as a table; - for the screen")
    command.add_argument("--npz", metavar="FILE.npz", help="write the columns as numpy arrays")
    add_json(command)


def store_folder(options: argparse.Namespace, file: str) -> str:
    """The folder of the store; InputError where it holds runs already and --resume is not given."""
    from fieldsolve.errors import InputError
    from fieldsolve.sweeps.store import RunStore

    folder = Path(options.store or Path(file).with_suffix(".runs"))
    kept = RunStore(folder).count() if folder.is_dir() else 0
    if kept and not options.resume:
        raise InputError(f"--store {folder}: {kept} finished runs are kept there; add --resume to go on with them, or give another folder")
    return str(folder)


def running_keywords(options: argparse.Namespace, file: str) -> dict[str, Any]:
    """Keywords of `sweep` and `design` that say where runs are computed and kept."""
    return {"workers": options.workers, "scheduler": options.scheduler, "store": store_folder(options, file)}


def json_rows(rows) -> list[dict[str, Any]]:
    """Rows as JSON takes them: dates and the like as text."""
    plain = (str, int, float, bool, type(None), list, dict)
    return [{name: value if isinstance(value, plain) else str(value) for name, value in row.items()} for row in rows]
