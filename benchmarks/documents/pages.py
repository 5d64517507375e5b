"""`python -m benchmarks documents [--check | --outputs]`: writes the pages that are made from the code, or says which are stale."""
from __future__ import annotations

import argparse
import sys
from collections.abc import Callable, Mapping
from functools import partial

from benchmarks.documents import quoted_outputs
from benchmarks.documents.api_page import api_page
from benchmarks.documents.module_table import ROOT, module_page
from benchmarks.documents.tables_of_code import TABLES, page_with_tables

PAGES: Mapping[str, Callable[[], str]] = {
    "fieldsolve/MODULES.md": module_page,
    "fieldsolve/API.md": api_page,
    **{home: partial(page_with_tables, home) for home, _ in TABLES.values()},
}
QUOTING = ("README.md", "benchmarks/examples/README.md", "fieldsolve/shot/README.md")         # pages that show outputs below commands


def main(arguments: list[str] | None = None) -> int:
    """Write the pages; with --check write nothing and return 1 where one is stale."""
    options = _parse_options(arguments)
    if options.check:
        stale = stale_pages()
        print("\n".join(f"stale: {name}; write it anew by `python -m benchmarks documents`" for name in stale), end="\n" if stale else "")
        return 1 if stale else 0
    for name, write in PAGES.items():
        (ROOT / name).write_text(write(), encoding="utf-8")
    for name in QUOTING if options.outputs else ():
        path = ROOT / name
        path.write_text(quoted_outputs.written_anew(path.read_text(encoding="utf-8")), encoding="utf-8")
    return 0


def stale_pages() -> list[str]:
    """Names of the pages that are not what the code makes of them now."""
    return [name for name, write in PAGES.items() if not (ROOT / name).exists() or (ROOT / name).read_text(encoding="utf-8") != write()]


def _parse_options(arguments: list[str] | None) -> argparse.Namespace:
    parser = argparse.ArgumentParser(prog="python -m benchmarks documents", description="Write the pages that are made from the code.")
    choice = parser.add_mutually_exclusive_group()
    choice.add_argument("--check", action="store_true", help="write nothing; say which pages are stale")
    choice.add_argument("--outputs", action="store_true", help="also run the commands in the pages and write what they print below them")
    return parser.parse_args(arguments)


if __name__ == "__main__":
    sys.exit(main())
