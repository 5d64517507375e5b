"""The points of a sweep: values of a case by dotted key, from grids, lists, zipped lists and space-filling samples."""
from __future__ import annotations

import itertools
import math
import numbers
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from fieldsolve.errors import InputError, suggestion
from fieldsolve.units import shortened
from geometries.keywords import known_keywords

MOST_VALUES = 1_000_000         # of one key between two ends
MOST_RUNS = 100_000             # of a sweep, unless the caller says that more are meant
METHODS = ("sobol", "halton", "latin hypercube", "random")
_QUANTITY = re.compile(r"\s*([+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?)\s*(.*?)\s*")

Point = dict[str, Any]


@known_keywords
@dataclass(frozen=True, kw_only=True)
class Samples:
    """Points that fill the space between two ends of each key evenly, without a grid.

    Parameters
    ----------
    between : mapping of str to (low, high)
        Ends by dotted key, as text in the same unit or as numbers in SI.  Between two whole numbers all samples are whole.
    count : int
        How many; for "sobol" a power of 2 is the most even.
    method : str, optional
        "sobol", "halton", "latin hypercube" or "random", see `scipy.stats.qmc`.
    seed : int, optional
        The same seed gives the same points.

    Raises
    ------
    InputError
        For an unknown method, a count below 1, or ends that do not go together.

    Examples
    --------
    >>> samples = Samples(between={"bank.voltage": ("4 kV", "6 kV"), "coil.turns": (6, 12)}, count=4)
    >>> all(6 <= point["coil.turns"] <= 12 for point in samples.points())
    True
    """

    between: Mapping[str, Sequence[Any]]
    count: int
    method: str = "sobol"
    seed: int = 0

    def __post_init__(self) -> None:
        if self.method not in METHODS:
            raise InputError(f"method = {self.method!r}: not known; {suggestion(str(self.method), METHODS)}")
        if isinstance(self.count, bool) or not isinstance(self.count, numbers.Integral) or self.count < 1:
            raise InputError(f"count = {self.count!r}: give a whole number of samples, 1 or more")
        if not self.between:
            raise InputError("between is empty: give two ends of at least one key, such as {'bank.voltage': ('4 kV', '6 kV')}")
        for key, ends in self.between.items():
            Span.of(key, ends)

    def points(self) -> Iterator[Point]:
        """The points, one after the other."""
        spans = [Span.of(key, ends) for key, ends in self.between.items()]
        for row in unit_cube(self.method, len(spans), self.count, self.seed):
            yield {span.key: span.at(share) for span, share in zip(spans, row, strict=True)}


def unit_cube(method: str, dimensions: int, count: int, seed: int) -> np.ndarray:
    """Shape (count, dimensions), each number from 0 to 1."""
    import warnings

    from scipy.stats import qmc

    if method == "random":
        return np.random.default_rng(seed).random((count, dimensions))
    kind = {"sobol": qmc.Sobol, "halton": qmc.Halton, "latin hypercube": qmc.LatinHypercube}[method]
    generator = np.random.default_rng(seed)
    try:
        sampler = kind(dimensions, rng=generator)
    except TypeError:                               # scipy before 1.15
        sampler = kind(dimensions, seed=generator)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", UserWarning)            # the balance of Sobol's points where their count is no power of 2
        return sampler.random(count)


@dataclass(frozen=True)
class Span:
    """All values of a key from `low` to `high`, numbers in `unit` as the ends were written; '' for numbers in SI."""

    key: str
    low: float
    high: float
    unit: str
    whole: bool

    @classmethod
    def of(cls, key: str, ends: Sequence[Any]) -> Span:
        """The span between two ends; InputError where they do not go together."""
        if isinstance(ends, str) or not isinstance(ends, Sequence) or len(ends) != 2:
            raise InputError(f"{key} = {shortened(ends)}: give its two ends, such as ['4 kV', '6 kV']")
        (low, unit), (high, other) = (_number_and_unit(key, end) for end in ends)
        if unit != other:
            raise InputError(f"{key} = {list(ends)!r}: give both ends in the same unit")
        if not low < high:
            raise InputError(f"{key} = {list(ends)!r}: the first end must be below the second")
        return cls(key, low, high, unit, all(isinstance(end, numbers.Integral) for end in ends))

    def at(self, share: float) -> Any:
        """The value at a share of the way from 0 to 1, as a case takes it; every whole number has the same room."""
        if self.whole:
            return int(min(self.low + math.floor(share * (self.high - self.low + 1)), self.high))
        return self.written(self.low + share * (self.high - self.low))

    def written(self, number: float) -> Any:
        """A number of the span as a case takes it."""
        if self.whole:
            return round(number)
        return f"{float(number):.12g} {self.unit}" if self.unit else float(f"{float(number):.12g}")


def _number_and_unit(key: str, value: Any) -> tuple[float, str]:
    match = _QUANTITY.fullmatch(value) if isinstance(value, str) else None
    if match:
        return float(match[1]), match[2]
    if isinstance(value, numbers.Real) and not isinstance(value, bool) and math.isfinite(value):
        return float(value), ""
    raise InputError(f"{key} = {shortened(value)}: give a number with its unit, such as '4 kV', or a number in SI")


def spaced_values(key: str, low: Any, high: Any, count: int) -> list[Any]:
    """Values of a key from `low` to `high`, evenly spaced; between whole numbers those that are whole.

    >>> spaced_values("bank.voltage", "4 kV", "6 kV", 3)
    ['4 kV', '5 kV', '6 kV']
    """
    if isinstance(count, bool) or not isinstance(count, numbers.Integral) or count < 2:
        raise InputError(f"{key} count = {count!r}: give a whole number of values, 2 or more")
    if count > MOST_VALUES:
        raise InputError(f"{key} count = {count:,}: more than {MOST_VALUES:,} values of one key; take fewer, or fs.Samples of several keys")
    span = Span.of(key, [low, high])
    return list(dict.fromkeys(span.written(number) for number in np.linspace(span.low, span.high, count)))


@dataclass(frozen=True)
class Plan:
    """The points of a sweep, not yet listed: every choice of one axis with every choice of the others, the last one fastest.

    axes  of each the partial points that are its choices
    """

    axes: tuple[tuple[Point, ...], ...]

    @property
    def count(self) -> int:
        """How many points."""
        return math.prod(map(len, self.axes))

    @property
    def keys(self) -> tuple[str, ...]:
        """The dotted keys that change, in order."""
        return tuple(dict.fromkeys(key for axis in self.axes for point in axis for key in point))

    def points(self) -> Iterator[Point]:
        """The points, one after the other."""
        for choice in itertools.product(*self.axes):
            yield {key: value for part in choice for key, value in part.items()}


def plan_points(over: Any, allow_many: bool = False) -> Plan:
    """The plan of `over`: a mapping of keys, or tuples of keys, to values; a sequence of points; or Samples.

    Raises InputError for a sweep without points, values that are no list, a key that stands twice, and too many points.
    """
    if isinstance(over, Samples):
        _check_count(over.count, allow_many)
        return Plan((tuple(over.points()),))
    if isinstance(over, Mapping):
        _check_count(math.prod(len(values) for values in over.values() if hasattr(values, "__len__")), allow_many)
        plan = Plan(tuple(_axis(keys, values) for keys, values in over.items()))
    elif isinstance(over, Sequence) and not isinstance(over, str):
        _check_count(len(over), allow_many)
        plan = Plan((tuple(map(_checked_point, over)),))
    else:
        raise InputError(f"over = {shortened(over)}: give values by key, such as {{'bank.voltage': ['5 kV', '6 kV']}}, a list of points, "
                         "or fs.Samples")
    if not plan.axes or not plan.count or not plan.keys:
        raise InputError("over is empty: there is nothing to compute; give at least one key with one value, such as "
                         "{'bank.voltage': ['5 kV', '6 kV']}")
    _check_distinct(plan)
    return plan


def _axis(keys: Any, values: Any) -> tuple[Point, ...]:
    if isinstance(values, (str, Mapping)) or not isinstance(values, (Sequence, np.ndarray, range)):
        raise InputError(f"{_shown(keys)} = {shortened(values)}: give a list of values, of a single one [{shortened(values)}]")
    if not len(values):
        raise InputError(f"{_shown(keys)} = []: the list is empty, and with it the sweep; give at least one value")
    if isinstance(keys, str):
        return tuple({keys: _unpacked(value)} for value in values)
    if not isinstance(keys, tuple) or not all(isinstance(key, str) for key in keys):
        raise InputError(f"{keys!r}: expected a dotted key such as 'bank.voltage', or a tuple of them for values that go together")
    choices: Sequence[Any] = list(values)
    for value in choices:
        if isinstance(value, str) or not isinstance(value, (Sequence, np.ndarray)) or len(value) != len(keys):
            raise InputError(f"{_shown(keys)} = {shortened(value)}: give {len(keys)} values at a time, one for each key")
    return tuple({key: _unpacked(entry) for key, entry in zip(keys, list(value), strict=True)} for value in choices)


def _shown(keys: Any) -> str:
    return keys if isinstance(keys, str) else f"({', '.join(map(str, keys))})"


def _unpacked(value: Any) -> Any:
    """A number of numpy as one of Python."""
    return value.item() if isinstance(value, np.generic) else value


def _checked_point(point: Any) -> Point:
    if not isinstance(point, Mapping) or not all(isinstance(key, str) for key in point):
        raise InputError(f"{shortened(point)}: a point of a list gives values by key, such as {{'bank.voltage': '5 kV'}}")
    return {key: _unpacked(value) for key, value in point.items()}


def _check_distinct(plan: Plan) -> None:
    seen: set[str] = set()
    for axis in plan.axes:
        keys = {key for point in axis for key in point}
        if seen & keys:
            raise InputError(f"{min(seen & keys)}: stands twice; give its values once")
        seen |= keys


def _check_count(count: int, allow_many: bool) -> None:
    if count > MOST_RUNS and not allow_many:
        raise InputError(f"{count:,} runs: more than {MOST_RUNS:,}, which would take {count / 86400:,.0f} days at a second each; take "
                         "fewer values or fs.Samples; where so many are meant, allow_many=True, in a command --yes")
