"""`python -m benchmarks errors [--case ID]`: does a figure stay within its stated error, and how far is it inside?

Every field case of the runner is computed by its own recipe, then once more from the same fields with each figure moved by the error
stated with it: what that moves a quantity by is the quantity's stated error.  Sphere and cylinder follow over the whole band.
"""
from __future__ import annotations

import argparse
import math
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from statistics import median
from unittest.mock import patch

import numpy as np

import fieldsolve as fs
from benchmarks import harmonic, own, statics
from benchmarks.cases import Case, load
from benchmarks.closed_forms import eddy
from fieldsolve.constants import MU_0

GROUPS = (("statics.toml", statics.FIELDS), ("harmonic.toml", harmonic.FIELDS), ("own.toml", own.FIELDS))
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
}
SPHERE, CYLINDER = (0.020, 5.8e7), 0.01     # radius, conductivity; the radius of the cylinder of `harmonic.cylinder`
BAND = (10.0, 1e7)
WITHIN, INSIDE = 0.95, 10.0     # share of pairs whose true error is within the stated one, and how far inside the median pair may be
FIGURES = ("flux_density", "peak_field", "inductance", "mutual_inductance", "flux_linkage", "energy", "axial_force", "radial_force",
           "dipole_moment", "mean_flux_density", "resistance", "resistance_change", "inductance_change", "voltage", "net_current", "loss")


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
    for file, recipes in GROUPS:
        for case in load(file).values():
            if case.id in recipes and (not chosen or case.id in chosen):
                yield from _pairs_of(case, recipes[case.id])


def _pairs_of(case: Case, recipe: Callable) -> Iterator[Pair]:
    fields: list = []
    plain = _computed(case, recipe, fields, None)
    moved = [_computed(case, recipe, list(fields), signs) for signs in ((1.0, 1.0), (1.0, -1.0))]
    for quantity, values in plain.items():
        if quantity in case.quantities:
            found, reference = np.ravel(np.asarray(values, dtype=float)), np.ravel(np.asarray(case.expected[quantity], dtype=float))
            stated = np.max([np.abs(np.ravel(np.asarray(other[quantity], dtype=float)) - found) for other in moved], axis=0)
            doubt = np.abs(reference) * STAND_INS.get(case.id, 0.0) + [half_digit(value) for value in reference]
            yield from worst_pair(case.id, quantity, np.abs(found - reference), stated, doubt)


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


def _computed(case: Case, recipe: Callable, fields: list, signs: tuple[float, float] | None) -> dict:
    """What the recipe computes; with `signs` from the fields of the first run, in their order, with their figures moved."""
    def solved(solve):
        def run(*arguments, **keywords):
            if signs:
                return _moved(fields.pop(0), signs)
            fields.append(solve(*arguments, **keywords))
            return fields[-1]
        return run
    with patch.object(fs, "solve_static", solved(fs.solve_static)), patch.object(fs, "solve_harmonic", solved(fs.solve_harmonic)):
        return recipe(case.setup, case.accuracy)


def _moved(field, signs: tuple[float, float]):
    """The field, or each of a sweep, with figures off by their stated errors."""
    return [_Moved(one, signs) for one in field] if hasattr(field, "frequencies") else _Moved(field, signs)


class _Moved:
    """A field whose figures are moved by their stated errors, one after the other in the direction of `signs`."""

    def __init__(self, field, signs: tuple[float, float]):
        self._field, self._signs, self._asked = field, signs, 0

    def __getattr__(self, name: str):
        attribute = getattr(self._field, name)
        if name == "flux_density":
            return self._flux_density
        return self._figure(attribute) if name in FIGURES else attribute

    def _figure(self, method):
        def moved(*arguments, **keywords):
            estimate = method(*arguments, **keywords)
            self._asked += 1
            step = self._signs[self._asked % 2] * estimate.error
            return estimate.value + (step * (1 + 1j) if isinstance(estimate, complex) else step)
        return moved

    def _flux_density(self, r, z):
        B, error = self._field.flux_density(r, z), self._field.flux_density_error(r, z)
        step = error * np.resize(self._signs, error.size).reshape(error.shape)
        return tuple(component + step * (1 + 1j if np.iscomplexobj(component) else 1) for component in B)


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
