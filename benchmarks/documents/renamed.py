"""Names of version 0.1 and what they are called now, as the package itself knows them."""
from __future__ import annotations

import importlib.util


def renamed_rows() -> list[tuple[str, str]]:
    """(old, new) for each renamed public name."""
    if importlib.util.find_spec("fieldsolve.renamed") is None:
        return []
    raise NotImplementedError
