"""What a design is to achieve: the free values with their ends, the goal, and the limits, each with how far a row is from it."""
from __future__ import annotations

import math
import numbers
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from fieldsolve.errors import InputError, suggestion
from fieldsolve.rig.card import RULES
from fieldsolve.rig.checks.rule import AT_LEAST, AT_MOST, MUST_BE
from fieldsolve.sweeps.points import Point, Span
from fieldsolve.sweeps.run import DONE

ALL, STOPS = "all", "stops"     # which checks of the card are limits
FINEST = 500                    # steps at least between the ends of a free value
FAR = 0.3                       # of a limit: one that every run is farther within is not followed, until a run comes nearer
BINDING = 0.02                  # share of a limit: a limit that is nearer binds
CHECKS = {rule.name: rule for rule in RULES if rule.sense != MUST_BE}


@dataclass(frozen=True)
class Limit:
    """A column that must be at most, or at least, a number.

    margin  the room that is left as a share of the limit, see `margin_in`
    """

    column: str
    sense: str
    limit: float

    def margin_in(self, row: Mapping[str, Any]) -> float | None:
        """Room left in a row as a share of the limit, negative where it is not met; None where the column is not there."""
        value = row.get(self.column)
        if value is None:
            return None
        return float(self.margins(value))

    def margins(self, values: Any) -> Any:
        """The same of values, an array of any shape."""
        room = self.limit - values if self.sense == AT_MOST else values - self.limit
        return room / abs(self.limit) if self.limit else room

    def is_near(self, rows: Sequence[Mapping[str, Any]]) -> bool:
        """Whether the limit is to be followed: in some row its room is less than FAR, or it is not met."""
        return any((margin := self.margin_in(row)) is not None and margin < FAR for row in rows)

    def __str__(self) -> str:
        return f"{self.column} {self.sense} {self.limit:g}"


@dataclass(frozen=True, kw_only=True)
class DesignProblem:
    """What is free, what is wanted and what is required; checked where it is built.

    spans    of each free key its ends
    goal     the column that is to be largest, or smallest where `smallest`
    against  a second column that is to be small, for the frontier; None: none
    limits   which checks of the card: "all", "stops" or their names
    require  limits of other columns
    follow   keys that are a factor times the value of another key
    """

    spans: tuple[Span, ...]
    goal: str
    smallest: bool = False
    against: str | None = None
    limits: str | tuple[str, ...] = ALL
    require: tuple[Limit, ...] = ()
    follow: Mapping[str, tuple[str, float]] = field(default_factory=dict)

    def point(self, shares: Sequence[float] | np.ndarray) -> Point:
        """The values of a case at shares of the way between the ends."""
        point = {span.key: span.written(span.low + share * (span.high - span.low)) for span, share in zip(self.spans, shares, strict=True)}
        return {**point, **{key: scaled_value(key, point[source], factor) for key, (source, factor) in self.follow.items()}}

    def snapped(self, shares: np.ndarray) -> np.ndarray:
        """Shares (..., free values) of the nearest values that a person would write: whole, or on a grid of a power of ten."""
        found = np.array(shares, dtype=float)
        for k, span in enumerate(self.spans):
            width, step = span.high - span.low, 1.0 if span.whole else 10.0 ** math.floor(math.log10((span.high - span.low) / FINEST))
            values = np.round((span.low + found[..., k] * width) / step) * step
            found[..., k] = (np.clip(values, span.low, span.high) - span.low) / width
        return found

    def features(self, shares: np.ndarray) -> np.ndarray:
        """Shares (n, free values) as the response takes them, from 0 to 1: on a logarithmic scale where both ends are above 0."""
        columns = []
        for k, span in enumerate(self.spans):
            values = span.low + shares[:, k] * (span.high - span.low)
            columns.append(np.log(values / span.low) / math.log(span.high / span.low) if span.low > 0 else shares[:, k])
        return np.stack(columns, axis=1)

    def limits_of(self, rows: Sequence[Mapping[str, Any]], case_limits: Mapping[str, float]) -> tuple[tuple[Limit, ...], tuple[Limit, ...]]:
        """The limits that the free values bear on, and those of the card that no value in these rows changes and that are not met."""
        wanted = self.require + tuple(Limit(name, CHECKS[name].sense, case_limits.get(name, CHECKS[name].limit)) for name in self._checks())
        done = [row for row in rows if row["status"] == DONE]
        assessed = [limit for limit in wanted if any(row.get(limit.column) is not None for row in done)]
        fixed = [limit for limit in assessed if limit not in self.require and len({row.get(limit.column) for row in done}) == 1]
        return (tuple(limit for limit in assessed if limit not in fixed),
                tuple(limit for limit in fixed if (limit.margin_in(done[0]) or 0.0) < 0))

    def _checks(self) -> tuple[str, ...]:
        if self.limits == ALL:
            return tuple(CHECKS)
        return tuple(name for name, rule in CHECKS.items() if rule.hard) if self.limits == STOPS else tuple(self.limits)

    def is_better(self, value: float, than: float) -> bool:
        """Whether a value of the goal is better than another."""
        return value < than if self.smallest else value > than


def scaled_value(key: str, value: Any, factor: float) -> Any:
    """A quantity as a case writes it, times a factor."""
    if isinstance(value, str):
        number, _, unit = value.partition(" ")
        return f"{factor * float(number):.12g} {unit}"
    return factor * value


def read_problem(vary: Mapping[str, Sequence[Any]], goal: str, *, smallest: bool = False, against: str | None = None,
                 limits: str | Sequence[str] = ALL, require: Mapping[str, Sequence[Any]] | None = None,
                 follow: Mapping[str, Sequence[Any]] | None = None) -> DesignProblem:
    """The problem of these words, see `design`; InputError for what is not known or cannot be."""
    if not isinstance(vary, Mapping) or not vary:
        raise InputError("vary is empty: give two ends of at least one key, such as {'bank.voltage': ('4 kV', '6 kV')}")
    if not isinstance(goal, str):
        raise InputError(f"goal = {goal!r}: give the name of a result, such as 'field in bore'")
    if not isinstance(limits, str):
        limits = tuple(limits)
    for name in () if limits in (ALL, STOPS) else limits if isinstance(limits, tuple) else (limits,):
        if name not in CHECKS:
            raise InputError(f"limits: {name!r} is no check of the card with a number; {suggestion(str(name), (*CHECKS, ALL, STOPS))}")
    follow = {key: _follow(key, entry, vary) for key, entry in (follow or {}).items()}
    return DesignProblem(spans=tuple(Span.of(key, ends) for key, ends in vary.items()), goal=goal, smallest=bool(smallest), against=against,
                         limits=limits, require=tuple(_requirement(name, entry) for name, entry in (require or {}).items()), follow=follow)


def _requirement(column: str, entry: Sequence[Any]) -> Limit:
    if not isinstance(entry, Sequence) or len(entry) != 2 or entry[0] not in (AT_MOST, AT_LEAST) or not isinstance(entry[1], numbers.Real):
        raise InputError(f"require {column} = {entry!r}: give ('at most', number) or ('at least', number), in SI")
    return Limit(column, entry[0], float(entry[1]))


def _follow(key: str, entry: Sequence[Any], vary: Mapping[str, Any]) -> tuple[str, float]:
    is_pair = isinstance(entry, Sequence) and len(entry) == 2 and entry[0] in vary
    if not is_pair or not isinstance(entry[1], numbers.Real) or not entry[1] > 0:
        raise InputError(f"follow {key} = {entry!r}: give a key of vary and a factor above 0, such as ('coil.wire_diameter', 1.1)")
    return entry[0], float(entry[1])
