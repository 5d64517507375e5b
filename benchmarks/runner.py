"""Run reference cases: each by the same recipe, none with settings of its own."""
from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from importlib import import_module

from benchmarks.cases import ReferenceCase, load
from benchmarks.checks import CaseCheck, compare, failure
from geometries.errors import FieldError

Recipe = Callable[[dict, float], dict]      # (setup, accuracy) -> computed by quantity
GROUPS = {                                  # name on the command line -> module with checks(only) -> iterator of Check
    "statics": "benchmarks.statics",
    "harmonic": "benchmarks.harmonic",
    "custom_metals": "benchmarks.custom_metals",
    "materials": "benchmarks.materials",
    "nonlinear": "benchmarks.nonlinear",
    "circuit": "benchmarks.circuit",
    "transient": "benchmarks.transient",
    "decay": "benchmarks.decay",
    "shot": "benchmarks.shot",
    "flow": "benchmarks.flow",
    "motion": "benchmarks.motion",
    "levitation": "benchmarks.levitation",
}
SLOW_GROUPS = ("levitation",)                      # minutes; run where they are named


def run_groups(names: Iterable[str], only: Iterable[str] = ()) -> Iterator[CaseCheck]:
    """Checks of the named groups, in order; `only` keeps the cases with these ids."""
    for name in names:
        yield from import_module(GROUPS[name]).checks(only)


def run_file(file: str, fields: dict[str, Recipe], formulas: dict[str, Recipe], only: Iterable[str] = ()) -> Iterator[CaseCheck]:
    """Checks of every case of a reference file, or of those named in `only`.

    fields, formulas   recipe by case id: solved as a field with a third of the tolerance of its quantities, or evaluated; a
                       case in both takes some of its quantities from each
    A case without a recipe is a check that failed, never a silent gap.
    """
    chosen = set(only)
    for case in load(file).values():
        if not chosen or case.id in chosen:
            recipes = {"formula": formulas.get(case.id), "field": fields.get(case.id)}
            yield from _run_case(case, {kind: recipe for kind, recipe in recipes.items() if recipe})


def _run_case(case: ReferenceCase, recipes: dict[str, Recipe]) -> Iterator[CaseCheck]:
    """Checks of one case by its recipes, by kind; an error of the solver is a failed check with its message."""
    if not recipes:
        yield failure(case, "field", "no recipe for this case")
        return
    found = {}
    for kind, recipe in recipes.items():
        accuracy = case.accuracy_without(found) if kind == "field" else case.accuracy
        try:
            found |= {quantity: (computed, kind) for quantity, computed in recipe(case.setup, accuracy).items()}
        except FieldError as error:
            yield failure(case, kind, f"{type(error).__name__}: {error}")
            return
    for quantity in case.quantities:
        yield compare(case, quantity, *found[quantity])
