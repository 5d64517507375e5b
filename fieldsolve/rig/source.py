"""Where a figure or a limit comes from, and how well that is known."""
from __future__ import annotations

from dataclasses import dataclass

MARKS = {                                # as in the data of the metals, and how a page says them
    "read": "read",                      # in the public source that is named, often an abstract or an excerpt
    "from-memory": "from memory",        # of the source that is named: not yet confirmed there
    "computed": "computed",              # by a closed form or by this program
    "common-practice": "common practice",
    "given": "as told",                  # by whoever wrote the case file
}


@dataclass(frozen=True)
class Source:
    """A source and the mark of how it is known, a key of MARKS."""

    text: str
    mark: str


COMMON_PRACTICE = Source("no source", "common-practice")
CASE_FILE = Source("the case file", "given")
CLOSED_FORM = Source("closed form", "computed")
MOVING_SHOT = Source("this program's shot with moving metal", "computed")
HELD_SHOT = Source("this program's shot with the metal held", "computed")
