"""Names of version 0.1 beside those of 0.2, from the data that the package refuses the old ones by."""
from __future__ import annotations

from collections.abc import Iterator

from fieldsolve.renamed import ATTRIBUTES, COMMANDS, KEYWORDS, NAMES


def renamed_rows() -> Iterator[tuple[str, str]]:
    """Each old name with the new one: of the package, of keywords, of attributes, of commands."""
    yield from ((f"fs.{old}", f"fs.{new}") for old, new in NAMES.items())
    for kind, names in (("keyword", KEYWORDS), ("attribute", ATTRIBUTES)):
        for owner, renamed in names.items():
            for old, new in renamed.items():
                yield (f"fs.{owner}({old}=)", f"{new}=") if kind == "keyword" else (f"{owner}.{old}", f"{owner}.{new}")
    yield from ((f"fieldsolve {old}", f"fieldsolve {new}") for old, new in COMMANDS.items())
