"""Names of version 0.1 and what they are called now, as the package itself knows them."""
from __future__ import annotations

from collections.abc import Iterator

from fieldsolve.renamed import ATTRIBUTES, COMMANDS, KEYWORDS, NAMES


def renamed_rows() -> Iterator[tuple[str, str]]:
    """(old, new) for each renamed public name, keyword, attribute and command."""
    yield from ((f"fs.{old}", f"fs.{new}") for old, new in NAMES.items())
    for function, keywords in KEYWORDS.items():
        yield from ((f"fs.{function}({old}=)", f"fs.{function}({new}=)") for old, new in keywords.items())
    for kind, attributes in ATTRIBUTES.items():
        yield from ((f"{kind}.{old}", f"{kind}.{new}") for old, new in attributes.items())
    yield from ((f"fieldsolve {old}", f"fieldsolve {new}") for old, new in COMMANDS.items())
