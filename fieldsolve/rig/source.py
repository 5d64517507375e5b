"""Where a value or a limit comes from, and how well that is known."""
from __future__ import annotations

from dataclasses import dataclass

MARKS = {                                # as in the data of the metals, and how a page says them
    "read": "read",                      # in the public source that is named, often an abstract or an excerpt
    "from-memory": "from memory",        # of the source that is named: not yet confirmed there
    "computed": "computed",              # by a closed form or by this program
    "common-practice": "common practice",
    "given": "as given",                 # by whoever wrote the case file
}


@dataclass(frozen=True)
class Source:
    """A source and the mark of how it is known, a key of MARKS."""

    text: str
    mark: str


COMMON_PRACTICE = Source("no source", "common-practice")
CASE_FILE = Source("the case file", "given")
CLOSED_FORM = Source("closed form", "computed")
SHOT = Source("this program's shot", "computed")
SHOT_SOURCES = {"held": Source("this program's shot with the metal held", "computed"),        # by its run
                "moving": Source("this program's shot with moving metal", "computed")}


def source_of_run(source: Source, run: str | None) -> Source:
    """A source, where it is a shot the one of its run: 'held', 'moving', or None where none was computed."""
    return SHOT_SOURCES.get(run, SHOT) if source is SHOT else source
