"""`python -m benchmarks errors [--case ID]`: does a figure stay within its stated error, and how far is it inside?

Every field case of the runner is computed by its own recipe, then once more for each figure that it asked for, with that one moved by
the error stated with it, a phasor in both parts and a field in both components: what these move a quantity by, summed over the figures,
is the quantity's stated error.  Sphere and cylinder follow over the whole band.
"""
from __future__ import annotations

import argparse
import math
from collections.abc import Callable, Iterable, Iterator
from contextlib import ExitStack
from dataclasses import dataclass
from statistics import median
from typing import Any
from unittest.mock import patch

import numpy as np

import fieldsolve as fs
from benchmarks import harmonic, own, shot, statics, transient
from benchmarks.cases import Case, load
from benchmarks.closed_forms import eddy
from fieldsolve.constants import MU_0

HELD = {"contract-rig-held": shot.FIELDS["contract-rig-held"]}
GROUPS = (("statics.toml", statics.FIELDS, statics.FORMULAS), ("harmonic.toml", harmonic.FIELDS, harmonic.FORMULAS),
          ("own.toml", own.FIELDS, own.FORMULAS), ("transient.toml", transient.FIELDS, transient.FORMULAS), ("shot.toml", HELD, {}))
STAND_INS = {                   # relative error of what stands for something infinite or thin, or of the reference's own model
    "round-wire-ac": 1e-4,                  # a ring of a thousand wire radii for a straight wire
    "round-wire-ac-published": 1e-4,
    "round-wire-ac-published-recalled": 1e-4,
    "loop-over-half-space": 1e-3,           # a plate of finite width
    "coil-over-plate": 1e-3,
    "thin-disc-axial-field": 1e-3,          # reference: coupled rings
    "clad-disc-parallel-layers": 1e-6,      # reference: without the disc's own field
    "coil-over-plate-air-coil-measured": 2e-2,
    "nagaoka-printed-table": 5e-5,          # an old table
    "contract-rig-held": 2e-5,              # reference: coupled filaments
}
SPHERE, CYLINDER = (0.020, 5.8e7), 0.01     # radius, conductivity; the radius of the cylinder of `harmonic.cylinder`
BAND = (10.0, 1e7)
WITHIN, INSIDE = 0.95, 10.0     # share of pairs whose true error is within the stated one, and how far inside the median pair may be
FIGURES = ("flux_density", "peak_field", "inductance", "mutual_inductance", "flux_linkage", "energy", "axial_force", "radial_force",
           "dipole_moment", "mean_flux_density", "resistance", "resistance_change", "inductance_change", "voltage", "net_current", "loss",
           "peak")


@dataclass(frozen=True)
class Pair:
    """True and stated error of one quantity of a case, at the entry where the stated one is smallest against the true one.

    counts   whether the reference is good to a tenth of the stated error
    """

    case: str
    quantity: str
    true: float
    stated: float
    counts: bool

    @property
    def ratio(self) -> float:
        """Stated over true error; at least 1 where the statement holds."""
        return self.stated / self.true if self.true else math.inf


# --- the runner's cases ------------------------------------------------------------------------------------------


def case_pairs(only: Iterable[str] = ()) -> Iterator[Pair]:
    """Pairs of every field case of the runner, or of those named."""
    chosen = set(only)
    for file, recipes, formulas in GROUPS:
        for case in load(file).values():
            if case.id in recipes and (not chosen or case.id in chosen):
                given = formulas[case.id](case.setup, case.accuracy) if case.id in formulas else ()
                recipe, accuracy = recipes[case.id], case.accuracy_but_for(given)
                yield from _pairs_of(case, lambda recipe=recipe, case=case, accuracy=accuracy: recipe(case.setup, accuracy))


def _pairs_of(case: Case, recipe: Callable[[], dict]) -> Iterator[Pair]:
    interview = _Interview()
    plain = _computed(recipe, interview, None)
    stated = {quantity: np.zeros(np.size(values)) for quantity, values in plain.items()}
    for k, place in ((k, place) for k, answer in enumerate(interview.answers) for place in np.ndindex(answer.parts.shape[1:])):
        squares = dict.fromkeys(stated, 0.0)
        for component in range(len(interview.answers[k].parts)):
            for quantity, values in _computed(recipe, interview, (k, component, *place)).items():
                squares[quantity] = squares[quantity] + (_flat(values) - _flat(plain[quantity])) ** 2
        stated = {quantity: error + np.sqrt(squares[quantity]) for quantity, error in stated.items()}
    for quantity, values in plain.items():
        if quantity in case.quantities:
            found, reference = _flat(values), _flat(case.expected[quantity])
            doubt = np.abs(reference) * STAND_INS.get(case.id, 0.0) + [half_digit(value) for value in reference]
            yield from worst_pair(case.id, quantity, np.abs(found - reference), stated[quantity], doubt)


def _flat(values) -> np.ndarray:
    return np.ravel(np.asarray(values, dtype=float))


def worst_pair(case: str, quantity: str, true: np.ndarray, stated: np.ndarray, doubt: np.ndarray) -> Iterator[Pair]:
    """The pair of a quantity from its entries (n,): true and stated errors, and what the reference may be off; none if none is stated."""
    known = np.flatnonzero(stated > 0)
    if len(known):
        counted = known[doubt[known] <= 0.1 * stated[known]]
        among = counted if len(counted) else known
        at = among[np.argmin(stated[among] / np.maximum(true[among], 1e-300))]
        yield Pair(case, quantity, float(true[at]), float(stated[at]), bool(len(counted)))


def half_digit(value: float) -> float:
    """Half a unit of the last digit that a reference is given with; an exact zero or whole number is exact."""
    digits, _, exponent = repr(float(value)).partition("e")
    fraction = digits.partition(".")[2]
    return 0.0 if fraction in ("", "0") and not exponent else 0.5 * 10.0 ** (int(exponent or 0) - len(fraction))


@dataclass(frozen=True)
class _Answer:
    """A figure that a recipe asked for: its real components (k, ...), what is made of them, and the errors stated with them (...)."""

    parts: np.ndarray
    build: Callable[[np.ndarray], Any]
    error: float | np.ndarray


class _Interview:
    """The fields a recipe solved for and the figures it asked of them, in order; asked again, it gets the same, one of them moved."""

    def __init__(self):
        self.fields: list = []
        self.answers: list[_Answer] = []
        self.begin(None)

    def begin(self, moved: tuple[int, ...] | None) -> None:
        """Start anew; `moved` is the number of an answer, and the component and place in it that is off by the stated error."""
        self.moved, self._fields, self._answers = moved, 0, 0

    def field(self, solve: Callable[[], Any]):
        """The next field, solved for the first time only."""
        if self._fields == len(self.fields):
            self.fields.append(solve())
        self._fields += 1
        return _asked(self.fields[self._fields - 1], self)

    def answer(self, asked: Callable[[], _Answer]):
        """The next figure, worked out the first time only."""
        if self._answers == len(self.answers):
            self.answers.append(asked())
        k, self._answers = self._answers, self._answers + 1
        parts = self.answers[k].parts
        if self.moved and self.moved[0] == k:
            parts = parts.copy()
            parts[self.moved[1:]] += np.broadcast_to(self.answers[k].error, parts.shape[1:])[self.moved[2:]]
        return self.answers[k].build(parts)


def _computed(recipe: Callable[[], dict], interview: _Interview, moved: tuple[int, ...] | None) -> dict:
    """What the recipe computes; with `moved` from the fields and figures of the first run, one of them moved."""
    interview.begin(moved)

    def recorded(solve):
        return lambda *arguments, **keywords: interview.field(lambda: solve(*arguments, **keywords))
    with ExitStack() as stack:
        for name in ("solve_static", "solve_harmonic", "solve_transient", "solve_shot"):
            stack.enter_context(patch.object(fs, name, recorded(getattr(fs, name))))
        return recipe()


def _asked(field, interview: _Interview):
    """A field, or each of a sweep, whose figures are asked for through the interview."""
    return [_Asked(one, interview) for one in field] if hasattr(field, "frequencies") else _Asked(field, interview)


class _Asked:
    """A field or a shot whose figures an interview gives."""

    def __init__(self, field, interview: _Interview):
        self._field, self._interview = field, interview

    def __getattr__(self, name: str):
        attribute = getattr(self._field, name)
        if name == "flux_density":
            return self._flux_density
        if name == "field_at":
            return lambda time: _Asked(attribute(time), self._interview)
        return self._figure(attribute) if name in FIGURES else attribute

    def _figure(self, method):
        def asked(*arguments, **keywords) -> _Answer:
            estimate = method(*arguments, **keywords)
            if isinstance(estimate, complex):
                return _Answer(np.array([estimate.real, estimate.imag]), lambda parts: complex(*parts), estimate.error)
            return _Answer(np.array([estimate.value]), lambda parts: fs.Estimate(parts[0], 0.0, estimate.unit, time=estimate.time),
                           estimate.error)
        return lambda *arguments, **keywords: self._interview.answer(lambda: asked(*arguments, **keywords))

    def _flux_density(self, r, z):
        def asked() -> _Answer:
            B = np.stack(self._field.flux_density(r, z))
            phasors = np.iscomplexobj(B)
            return _Answer(np.concatenate([B.real, B.imag]) if phasors else B,
                           lambda parts: tuple(parts[:2] + 1j * parts[2:] if phasors else parts),
                           self._field.flux_density_error(r, z))
        return self._interview.answer(asked)


# --- sphere and cylinder over the band ---------------------------------------------------------------------------


def band(count: int, offset: float = 0.09) -> np.ndarray:
    """Frequencies spaced evenly on a logarithmic scale over BAND, shifted off round numbers."""
    return np.geomspace(*BAND, count + 1)[:-1] * (1 + offset)


def sphere_pairs(frequencies: Iterable[float], accuracy: float) -> Iterator[Pair]:
    """Loss and moment of a copper sphere in a uniform field, each frequency solved by itself."""
    for frequency in frequencies:
        (field,) = harmonic.solid_sphere_fields(*SPHERE, [frequency], accuracy)
        moment = 4 * math.pi * SPHERE[0] ** 3 / MU_0 * eddy.sphere_moment(*SPHERE, frequency)
        case = f"sphere at {frequency:.4g} Hz to {accuracy:g}"
        yield _pair(case, "loss", field.loss("sphere"), eddy.sphere_loss(*SPHERE, frequency, 1.0))
        yield _pair(case, "dipole moment", field.dipole_moment(), moment)


def cylinder_pairs(frequencies: Iterable[float], accuracy: float) -> Iterator[Pair]:
    """Effective permeability and loss of a long copper cylinder in an axial field, each frequency solved by itself."""
    for frequency in frequencies:
        q = 2 * math.pi * frequency * MU_0 * harmonic.COPPER.conductivity * CYLINDER**2
        (field,) = harmonic.cylinder_fields([q], accuracy)
        exact = complex(eddy.cylinder_effective_permeability(q))
        heat = -math.pi * frequency / MU_0 * math.pi * CYLINDER**3 * exact.imag        # the strip is as high as the cylinder's radius
        case = f"cylinder at {frequency:.4g} Hz to {accuracy:g}"
        yield _pair(case, "effective permeability", field.mean_flux_density("cylinder"), exact)
        yield _pair(case, "loss", field.loss("cylinder"), heat)


def _pair(case: str, quantity: str, estimate, exact: complex) -> Pair:
    return Pair(case, quantity, float(abs(estimate - exact)), estimate.error, True)


# --- the table ---------------------------------------------------------------------------------------------------


def all_pairs() -> Iterator[Pair]:
    """The runner's cases, then sphere and cylinder at 24 frequencies."""
    yield from case_pairs()
    for accuracy in (1e-2, 1e-3):
        yield from sphere_pairs(band(24), accuracy)
    for accuracy in (1e-2, 1e-3, 1e-4):
        yield from cylinder_pairs(band(24), accuracy)


def summary(pairs: Iterable[Pair]) -> tuple[int, float, float]:
    """How many pairs count, the share whose true error is within the stated one, and the median of stated over true."""
    ratios = [pair.ratio for pair in pairs if pair.counts]
    return len(ratios), sum(ratio >= 1 for ratio in ratios) / len(ratios), median(ratios)


def main(arguments: list[str]) -> int:
    """Print the pairs and what they come to; 0 if enough are within and the median is not too far inside."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks errors", description="Compare true errors with stated ones.")
    parser.add_argument("--case", action="append", default=[], metavar="ID", help="only this case of the runner (may be repeated)")
    only = parser.parse_args(arguments).case
    print(f"{'case':40} {'quantity':44} {'true':>9} {'stated':>9} {'ratio':>8}")
    pairs = []
    for pair in case_pairs(only) if only else all_pairs():
        pairs.append(pair)
        remark = "OUT" if pair.counts and pair.ratio < 1 else "" if pair.counts else "reference too coarse, not counted"
        print(f"{pair.case:40} {pair.quantity:44} {pair.true:9.2e} {pair.stated:9.2e} {pair.ratio:8.3g} {remark}".rstrip(), flush=True)
    if not any(pair.counts for pair in pairs):
        print("no pair counts")
        return 2
    count, share, middle = summary(pairs)
    print(f"{count} pairs: true error within the stated one in {100 * share:.1f} %, median of stated over true {middle:.1f}")
    return 0 if share >= WITHIN and middle <= INSIDE else 1
