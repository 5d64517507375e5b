"""TOML from a file that somebody wrote: read within bounds, and what is wrong in it said in one line with its remedy."""
from __future__ import annotations

import re
import tomllib
from pathlib import Path
from typing import Any

from fieldsolve.errors import InputError
from fieldsolve.units import starts_with_number

LARGEST_FILE = 1_000_000        # bytes
DEEPEST = 12                    # tables and lists within one another
LONGEST_LIST = 10_000
_PLACE = re.compile(r"\(at line (\d+), column \d+\)")
_QUANTITY = re.compile(r"\s*(?P<key>[\w.-]+)\s*=\s*(?P<value>[^\"'#\[{]+?)\s*(#.*)?")


def read_toml_text(path: Path, kind: str) -> str:
    """Text of a file of a `kind`, such as 'case file'.

    Raises InputError for what is no file, cannot be read, is too large or no text in UTF-8.  A byte-order mark is left out.
    """
    try:
        with path.open("rb") as file:
            data = file.read(LARGEST_FILE + 1)
    except (FileNotFoundError, IsADirectoryError, NotADirectoryError):
        raise InputError(f"no such {kind}: {str(path)!r}; give the path of a TOML file") from None
    except (OSError, ValueError) as error:
        raise InputError(f"{kind} {str(path)!r}: {getattr(error, 'strerror', None) or error}; give the path of a TOML file") from None
    if len(data) > LARGEST_FILE:
        raise InputError(f"is larger than {LARGEST_FILE // 1000} kB; a {kind} is a text of some pages")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise InputError(f"not a text file in UTF-8 ({error.reason} at byte {error.start}); a {kind} is TOML") from None


def parse_toml(text: str) -> dict[str, Any]:
    """The tables of a text.

    Raises InputError for what is not TOML, with the remedy where a quantity lacks its quotes, and for what is nested too deep.
    """
    try:
        content = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise InputError(f"not valid TOML: {error}{_quotes_missing(text, str(error))}") from None
    except (ValueError, OverflowError) as error:            # a number or a date that Python cannot hold
        raise InputError(f"not valid TOML: {str(error).split(';')[0]}") from None
    except RecursionError:
        raise _too_deep() from None
    _check_depth(content)
    return content


def _quotes_missing(text: str, message: str) -> str:
    """The remedy where the line at fault is a quantity with a unit, without its quotes."""
    place = _PLACE.search(message)
    line = text.splitlines()[int(place[1]) - 1] if place and int(place[1]) <= len(text.splitlines()) else ""
    match = _QUANTITY.fullmatch(line[:200])
    if match and starts_with_number(match["value"]):
        return f"; a quantity with its unit stands in quotes: {match['key']} = \"{match['value']}\""
    return ""


def _check_depth(content: dict[str, Any]) -> None:
    level: list[Any] = [content]
    for _ in range(DEEPEST):
        containers = [value for value in level if isinstance(value, (dict, list))]
        level = [entry for value in containers for entry in (value.values() if isinstance(value, dict) else value)]
        if len(level) > LONGEST_LIST:
            raise InputError(f"holds more than {LONGEST_LIST} entries; give what a rig has")
        if not level:
            return
    raise _too_deep()


def _too_deep() -> InputError:
    return InputError(f"tables and lists stand within one another more than {DEEPEST} deep; no table needs that")
