"""A docstring in numpydoc form as Markdown: summary, text, then its sections."""
from __future__ import annotations

import inspect
import re

SECTION = re.compile(r"^(\w[\w ]*)\n-{3,}[ ]*\n", re.MULTILINE)
ENTRIES = ("Parameters", "Returns", "Raises", "Yields", "Attributes", "Warns", "Other Parameters")


def summary(thing: object) -> str:
    """First paragraph of a docstring on one line; '' where there is none."""
    return " ".join(_docstring(thing).partition("\n\n")[0].split())


def markdown(thing: object) -> str:
    """The docstring: its first paragraph as prose, what follows as written, each section below its name in bold."""
    opening, *sections = SECTION.split(_docstring(thing))
    _, _, text = opening.partition("\n\n")
    pieces = [summary_of(opening), _preformatted(text)]
    pieces += [_section(name, body) for name, body in zip(sections[::2], sections[1::2], strict=True)]
    return "\n\n".join(piece for piece in pieces if piece)


def summary_of(opening: str) -> str:
    """First paragraph on one line."""
    return " ".join(opening.partition("\n\n")[0].split())


def _docstring(thing: object) -> str:
    own = thing.__doc__ if inspect.isclass(thing) else inspect.getdoc(thing)
    return inspect.cleandoc(own or "")


def _section(name: str, body: str) -> str:
    if name in ENTRIES:
        return f"**{name}**\n\n{_entries(body)}"
    if name == "Examples":
        return f"**{name}**\n\n```python\n{body.strip()}\n```"
    return f"**{name}**\n\n{body.strip()}"


def _entries(body: str) -> str:
    """A list item for each entry: its name, its type, and what it is."""
    items = []
    for line in body.strip("\n").splitlines():
        if line and not line[0].isspace():
            name, _, kind = line.partition(" : ")
            items.append(f"- `{name.strip()}`" + (f" : {kind.strip()}" if kind else ""))
        elif line.strip():
            items.append(f"  {line.strip()}")
    return "\n".join(items)


def _preformatted(text: str) -> str:
    """Text below the first paragraph with its lines and columns kept."""
    return f"```text\n{text.strip()}\n```" if text.strip() else ""
