"""A docstring in numpydoc form as Markdown: summary, text, then its sections."""
from __future__ import annotations

import inspect
import re

SECTION = re.compile(r"^(\w[\w ]*)\n-{3,}[ ]*\n", re.MULTILINE)
COLUMNS = re.compile(r"^ |[^.:?!)`\s] {2,}\S|^Raises", re.MULTILINE)            # an indented line, or words set apart by blanks
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
    """Paragraphs below the first: prose on its own lines, and columns or formulas kept as they are written."""
    paragraphs = [paragraph.strip("\n") for paragraph in re.split(r"\n\s*\n", text) if paragraph.strip()]
    return "\n\n".join(f"```text\n{paragraph}\n```" if COLUMNS.search(paragraph) else _without_double_spaces(paragraph)
                       for paragraph in paragraphs)


def _without_double_spaces(paragraph: str) -> str:
    return re.sub(r"(?<=[.:?!)`]) {2,}", " ", paragraph)


def has_sections(thing: object) -> bool:
    """Whether a docstring says more than prose: parameters, results, errors."""
    return bool(SECTION.search(_docstring(thing)))
