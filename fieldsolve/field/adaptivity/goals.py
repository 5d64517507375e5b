"""Headline figures, made only where they are asked for: each has a name, and a maker that knows its value, scale and functional."""
from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass

import numpy as np

from fieldsolve.field.adaptivity.error_indicators import Figure
from geometries.errors import InputError


@dataclass(frozen=True, eq=False)
class Asked:
    """A figure that lacks its dual field, the solution for its `functional` (n,) as a load; `field` is what it is of, None: the whole."""

    value: complex
    scale: float
    functional: np.ndarray
    field: np.ndarray | None = None
    least: float = 0.0
    family: str = ""


Maker = Callable[[], Asked | Figure]
Makers = Iterator[tuple[str, Maker]]


def words(figures: str | Iterable[str]) -> tuple[str, ...]:
    """The names asked for; a single one may stand alone."""
    return (figures,) if isinstance(figures, str) else tuple(figures)


def made(makers: Makers, asked: tuple[str, ...], whole: np.ndarray, solve: Callable[[np.ndarray], np.ndarray]) -> dict[str, Figure]:
    """The figures whose first words are asked for, all where nothing is; those that are nothing drop out.

    whole   the field (n,);  solve  dual fields of functionals, both (n, k)
    Raises InputError for what begins no figure's name, and where all that is asked for is nothing.
    """
    makers = dict(makers)
    found = {name: makers[name]() for name in _chosen(list(makers), asked)}
    found = {name: some for name, some in found.items() if some.scale > 0 and not (isinstance(some, Asked) and not some.functional.any())}
    if asked and not found:
        raise InputError(f"figures: {', '.join(asked)}: of no size in this problem; ask for others, or for none by name")
    lacking = {name: some for name, some in found.items() if isinstance(some, Asked)}
    if lacking:
        duals = solve(np.stack([some.functional for some in lacking.values()], axis=1)).T.copy()
        found |= {name: Figure(some.value, some.scale, [(whole if some.field is None else some.field, dual)], some.least, some.family)
                  for (name, some), dual in zip(lacking.items(), duals, strict=True)}
    return found


def _chosen(names: list[str], asked: tuple[str, ...]) -> list[str]:
    for wanted in asked:
        if not any(_begins(name, wanted) for name in names):
            raise InputError(f"figures: no headline figure is called {wanted!r}; those of this problem are {', '.join(sorted(names))}")
    return [name for name in names if not asked or any(_begins(name, wanted) for wanted in asked)]


def _begins(figure: str, wanted: str) -> bool:
    return f"{figure} ".startswith(f"{wanted} ")
