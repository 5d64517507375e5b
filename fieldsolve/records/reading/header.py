"""What stands above the numbers of a record: units of the columns, the interval between samples, the first time."""
from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass

WORDS = {"second": "s", "seconds": "s", "sec": "s", "volt": "V", "volts": "V", "ampere": "A", "amperes": "A", "amp": "A", "amps": "A",
         "millisecond": "ms", "milliseconds": "ms", "microsecond": "us", "microseconds": "us", "nanosecond": "ns", "nanoseconds": "ns",
         "millivolt": "mV", "millivolts": "mV", "kiloampere": "kA", "kiloamperes": "kA"}
NO_UNITS = ("sequence", "sample", "samples", "index", "point", "points", "-", "1", "n")       # of a column that counts
PREFIXES = {"p": 1e-12, "n": 1e-9, "u": 1e-6, "m": 1e-3, "": 1.0, "k": 1e3, "M": 1e6, "G": 1e9}
_UNIT = re.compile(r"([pnumkMG]?)(A/s|V/s|T/s|m/s|Hz|Sa/s|V|A|s|T|W|Pa)")
_TITLE = re.compile(r"(.*?)\s*[\[(]\s*([^\[\]()]*)\s*[\])]\s*")
_TITLE_WITHOUT_BRACKETS = re.compile(r"(.*?\w)\s*[_/ ]\s*([pnumkMGµμ]?[VAs])")
_NUMBER = re.compile(r"[+-]?(?:\d+(?:[.,]\d*)?|\.\d+)(?:[eE][+-]?\d+)?")
_INTERVAL = re.compile(r"(sampl\w*[ _-]*(?:interval|period|time)|x?[ _-]*increment|"
                       r"time[ _-]*(?:step|per[ _-]*sample|increment|interval)|xincr|delta[ _-]*(?:t|x)\b|"
                       r"\bdt\b|resolution time|abtastintervall|horizontal interval)", re.IGNORECASE)
_RATE = re.compile(r"(sampl\w*[ _-]*(?:rate|frequency)|abtastrate)", re.IGNORECASE)
_START = re.compile(r"(^start\b|x[ _-]*(?:origin|zero|offset)|xzero|first[ _-]*(?:point|sample|time)|start[ _-]*time|time[ _-]*offset)",
                    re.IGNORECASE)


@dataclass(frozen=True)
class Settings:
    """Seconds between samples and of the first one, None where the file does not say."""

    interval: float | None = None
    start: float | None = None


def normal_unit(text: str) -> str:
    """A unit as SI writes it: 'µs' is 'us', 'Volt' is 'V'; empty for what is none."""
    text = text.strip().strip("[]()").strip().replace("µ", "u").replace("μ", "u")
    text = WORDS.get(text.lower(), {"S": "s", "US": "us", "MS": "ms", "NS": "ns", "KA": "kA", "KV": "kV"}.get(text, text))
    return text if _UNIT.fullmatch(text) else ""


def factor(unit: str) -> tuple[float, str]:
    """Factor and SI unit of a unit; (1, the text) for what is none."""
    match = _UNIT.fullmatch(normal_unit(unit))
    return (PREFIXES[match[1]], match[2]) if match else (1.0, unit)


def is_unit(cell: str) -> bool:
    """Whether a cell is a unit and nothing else."""
    return bool(normal_unit(cell)) or cell.strip("[]() ").lower() in NO_UNITS


def split_unit(title: str) -> tuple[str, str]:
    """Name and unit of a title such as 'current [kA]' or 'Time (us)'.

    >>> split_unit("CH1 [mV]"), split_unit("Time"), split_unit("time_us"), split_unit("current of coil [A]")
    (('CH1', 'mV'), ('Time', ''), ('time', 'us'), ('current of coil', 'A'))
    """
    match = _TITLE.fullmatch(title) or _TITLE_WITHOUT_BRACKETS.fullmatch(title)
    if match and (unit := normal_unit(match[2])):
        return match[1], unit
    return title, ""


def read_settings(lines: Iterable[str]) -> Settings:
    """Interval and start from the lines at the top; also where they are titles over the numbers of the next line."""
    lines = list(lines)
    interval = _first(lines, _INTERVAL)
    rate = None if interval else _first(lines, _RATE)
    return Settings(interval or (1 / rate if rate else None), _first(lines, _START, positive=False))


def _first(lines: list[str], key: re.Pattern, positive: bool = True) -> float | None:
    for k, line in enumerate(lines):
        for value in (_in_line(line, key), _under_title(line, lines[k + 1] if k + 1 < len(lines) else "", key)):
            if value is not None and (value > 0 or not positive):
                return value
    return None


def _in_line(line: str, key: re.Pattern) -> float | None:
    """The number behind a key in a line, with the unit in the key's brackets or behind the number."""
    match = key.search(line)
    if not match:
        return None
    rest = line[match.end():]
    number = _NUMBER.search(rest)
    if not number or re.search(r"[,;\t][^,;\t]*[A-Za-z]{3,}", rest[:number.start()]):     # another title comes first
        return None
    between = re.search(r"[\[(]([^\])]*)[\])]", rest[:number.start()])
    behind = re.match(r"[\s,;]*([A-Za-zµμ]+)", rest[number.end():])
    unit = (between and between[1]) or (behind and behind[1]) or ""
    return float(number[0].replace(",", ".")) * factor(unit)[0] if number[0].strip("+-.,") else None


def _under_title(line: str, below: str, key: re.Pattern) -> float | None:
    """The number below a title: `Start,Increment` over `-3e-4,1e-6`."""
    for delimiter in (",", ";", "\t"):
        titles, values = line.split(delimiter), below.split(delimiter)
        for title, value in zip(titles, values, strict=False):
            if key.search(title.strip()) and _NUMBER.fullmatch(value.strip()):
                return float(value.strip().replace(",", ".")) * factor(split_unit(title)[1])[0]
    return None
