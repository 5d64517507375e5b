"""Reference cases as read from their TOML files (see reference/README.md for the keys)."""
from __future__ import annotations

import tomllib
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

REFERENCE = Path(__file__).parent / "reference"


@dataclass(frozen=True)
class ReferenceCase:
    """One published or closed-form case: what to compute and what should come out.

    setup, expected   keys end in their SI unit; an array is a table read across
    tolerance         `relative` or `absolute`, `scale`, and tables of these by quantity
    source, mark      where the expected figures are from and how they are known
    """

    id: str
    title: str
    source: str
    mark: str
    setup: dict
    expected: dict
    tolerance: dict

    @property
    def quantities(self) -> tuple[str, ...]:
        """Names of the expected results to compare; a measurement's own uncertainty is not one."""
        return tuple(name for name in self.expected if "_uncertainty_" not in name)

    def tolerance_of(self, quantity: str) -> tuple[str, float]:
        """`relative` or `absolute`, and how much, for one expected quantity."""
        bounds = self.tolerance.get(quantity, self.tolerance)
        kind = "relative" if "relative" in bounds else "absolute"
        return kind, bounds[kind]

    @property
    def accuracy(self) -> float:
        """A third of the smallest tolerance of any quantity of the case."""
        return self.accuracy_without(())

    def accuracy_without(self, by_formula: Iterable[str]) -> float:
        """Accuracy for the solver where formulas give some of the quantities: a third of the smallest tolerance of the others."""
        return min(self.tolerance_of(quantity)[1] for quantity in self.quantities if quantity not in by_formula) / 3


def load(file: str) -> dict[str, ReferenceCase]:
    """Cases of `reference/<file>` by their id, in the file's order."""
    with open(REFERENCE / file, "rb") as stream:
        entries = tomllib.load(stream)["case"]
    return {entry["id"]: ReferenceCase(**{key: entry.get(key, {}) for key in ReferenceCase.__dataclass_fields__}) for entry in entries}
