"""`python -m benchmarks errors [--case ID]`: is the true error within the error bound, and how far inside is it?

`python -m benchmarks errors shots` does it for shots of random rigs, see `benchmarks.shot_accuracy.pairs`.

Every field case of the runner is computed by its recipe, then once more for each estimate that the
recipe reads, with that estimate changed by its own error bound: a phasor in both parts, a field in
both components.  The changes of a quantity, summed over the estimates, are the quantity's error
bound.  Sphere and cylinder follow over the whole band.
"""
from __future__ import annotations

import argparse
import math
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from statistics import median

import numpy as np

from benchmarks import custom_metals, harmonic, shot, statics, transient
from benchmarks.cases import ReferenceCase, load
from benchmarks.closed_forms import eddy
from benchmarks.recorded_estimates import Recorder, compute_recorded
from benchmarks.shot_accuracy import pairs as pairs_of_shots
from fieldsolve.constants import MU_0

HELD_SHOT = {"contract-rig-held": shot.FIELDS["contract-rig-held"]}
GROUPS = (
    ("statics.toml", statics.FIELDS, statics.FORMULAS),
    ("harmonic.toml", harmonic.FIELDS, harmonic.FORMULAS),
    ("custom_metals.toml", custom_metals.FIELDS, custom_metals.FORMULAS),
    ("transient.toml", transient.FIELDS, transient.FORMULAS),
    ("shot.toml", HELD_SHOT, {}),
)
REFERENCE_ERRORS = {  # relative errors of references, or of large bodies in place of infinite ones
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
SMALLEST_SHARE_WITHIN = 0.95        # of the pairs: true error within the error bound
LARGEST_MEDIAN_RATIO = 10.0         # of the error bound to the true error


@dataclass(frozen=True)
class ErrorPair:
    """True error and error bound of one quantity of a case, at the entry where the bound is smallest against the true error.

    counts   whether the reference is good to a tenth of the error bound
    """

    case: str
    quantity: str
    true_error: float
    error_bound: float
    counts: bool

    @property
    def ratio(self) -> float:
        """Error bound over true error; at least 1 where the bound holds."""
        return self.error_bound / self.true_error if self.true_error else math.inf


# --- the runner's cases ------------------------------------------------------------------------------------------


def case_pairs(only: Iterable[str] = ()) -> Iterator[ErrorPair]:
    """Pairs of every field case of the runner, or of those named."""
    chosen = set(only)
    for file, recipes, formulas in GROUPS:
        for case in load(file).values():
            if case.id in recipes and (not chosen or case.id in chosen):
                by_formula = formulas[case.id](case.setup, case.accuracy) if case.id in formulas else ()
                recipe, accuracy = recipes[case.id], case.accuracy_without(by_formula)
                yield from _pairs_of_case(case, lambda recipe=recipe, case=case, accuracy=accuracy: recipe(case.setup, accuracy))


def _pairs_of_case(case: ReferenceCase, recipe: Callable[[], dict]) -> Iterator[ErrorPair]:
    recorder = Recorder()
    unperturbed = compute_recorded(recipe, recorder, None)
    error_bound = {quantity: np.zeros(np.size(values)) for quantity, values in unperturbed.items()}
    for k, place in ((k, place) for k, estimate in enumerate(recorder.estimates) for place in np.ndindex(estimate.parts.shape[1:])):
        squares = dict.fromkeys(error_bound, 0.0)
        for component in range(len(recorder.estimates[k].parts)):
            for quantity, values in compute_recorded(recipe, recorder, (k, component, *place)).items():
                squares[quantity] = squares[quantity] + (_flat(values) - _flat(unperturbed[quantity])) ** 2
        error_bound = {quantity: error + np.sqrt(squares[quantity]) for quantity, error in error_bound.items()}
    for quantity, values in unperturbed.items():
        if quantity in case.quantities:
            found, reference = _flat(values), _flat(case.expected[quantity])
            reference_error = np.abs(reference) * REFERENCE_ERRORS.get(case.id, 0.0) + [half_digit(value) for value in reference]
            yield from worst_pair(case.id, quantity, np.abs(found - reference), error_bound[quantity], reference_error)


def _flat(values) -> np.ndarray:
    return np.ravel(np.asarray(values, dtype=float))


def worst_pair(
    case: str, quantity: str, true_error: np.ndarray, error_bound: np.ndarray, reference_error: np.ndarray
) -> Iterator[ErrorPair]:
    """The pair of a quantity from its entries (n,): true errors, error bounds, errors of the reference; none where no bound is known."""
    known = np.flatnonzero(error_bound > 0)
    if len(known):
        counted = known[reference_error[known] <= 0.1 * error_bound[known]]
        candidates = counted if len(counted) else known
        worst = candidates[np.argmin(error_bound[candidates] / np.maximum(true_error[candidates], 1e-300))]
        yield ErrorPair(case, quantity, float(true_error[worst]), float(error_bound[worst]), bool(len(counted)))


def half_digit(value: float) -> float:
    """Half a unit of the last digit that a reference is given with; an exact zero or whole number is exact."""
    digits, _, exponent = repr(float(value)).partition("e")
    fraction = digits.partition(".")[2]
    return 0.0 if fraction in ("", "0") and not exponent else 0.5 * 10.0 ** (int(exponent or 0) - len(fraction))


# --- sphere and cylinder over the band ---------------------------------------------------------------------------


def band(count: int, offset: float = 0.09) -> np.ndarray:
    """Frequencies spaced evenly on a logarithmic scale over BAND, shifted off round numbers."""
    return np.geomspace(*BAND, count + 1)[:-1] * (1 + offset)


def sphere_pairs(frequencies: Iterable[float], accuracy: float) -> Iterator[ErrorPair]:
    """Loss and moment of a copper sphere in a uniform field, each frequency solved by itself."""
    for frequency in frequencies:
        (field,) = harmonic.solid_sphere_fields(*SPHERE, [frequency], accuracy)
        moment = 4 * math.pi * SPHERE[0] ** 3 / MU_0 * eddy.sphere_moment(*SPHERE, frequency)
        case = f"sphere at {frequency:.4g} Hz to {accuracy:g}"
        yield _error_pair(case, "loss", field.loss("sphere"), eddy.sphere_loss(*SPHERE, frequency, 1.0))
        yield _error_pair(case, "dipole moment", field.dipole_moment(), moment)


def cylinder_pairs(frequencies: Iterable[float], accuracy: float) -> Iterator[ErrorPair]:
    """Effective permeability and loss of a long copper cylinder in an axial field, each frequency solved by itself."""
    for frequency in frequencies:
        q = 2 * math.pi * frequency * MU_0 * harmonic.COPPER.conductivity * CYLINDER**2
        (field,) = harmonic.cylinder_fields([q], accuracy)
        exact = complex(eddy.cylinder_effective_permeability(q))
        heat = -math.pi * frequency / MU_0 * math.pi * CYLINDER**3 * exact.imag        # the strip is as high as the cylinder's radius
        case = f"cylinder at {frequency:.4g} Hz to {accuracy:g}"
        yield _error_pair(case, "effective permeability", field.mean_flux_density("cylinder"), exact)
        yield _error_pair(case, "loss", field.loss("cylinder"), heat)


def _error_pair(case: str, quantity: str, estimate, exact: complex) -> ErrorPair:
    return ErrorPair(case, quantity, float(abs(estimate - exact)), estimate.error, True)


# --- the table ---------------------------------------------------------------------------------------------------


def all_pairs() -> Iterator[ErrorPair]:
    """The runner's cases, then sphere and cylinder at 24 frequencies."""
    yield from case_pairs()
    for accuracy in (1e-2, 1e-3):
        yield from sphere_pairs(band(24), accuracy)
    for accuracy in (1e-2, 1e-3, 1e-4):
        yield from cylinder_pairs(band(24), accuracy)


def pair_statistics(pairs: Iterable[ErrorPair]) -> tuple[int, float, float]:
    """How many pairs count, the share whose true error is within its bound, and the median of bound over true error."""
    ratios = [pair.ratio for pair in pairs if pair.counts]
    return len(ratios), sum(ratio >= 1 for ratio in ratios) / len(ratios), median(ratios)


def main(arguments: list[str]) -> int:
    """Print the pairs and their statistics; 0 if enough are within their bounds and the median is not too far inside."""
    if arguments[:1] == ["shots"]:
        return pairs_of_shots.main(arguments[1:])
    parser = argparse.ArgumentParser(prog="python -m benchmarks errors", description="Compare true errors with error bounds.",
                                     epilog="python -m benchmarks errors shots does it for shots of random rigs.")
    parser.add_argument("--case", action="append", default=[], metavar="ID", help="only this case of the runner (may be repeated)")
    only = parser.parse_args(arguments).case
    print(f"{'case':40} {'quantity':44} {'true':>9} {'bound':>9} {'ratio':>8}")
    pairs = []
    for pair in case_pairs(only) if only else all_pairs():
        pairs.append(pair)
        remark = "OUT" if pair.counts and pair.ratio < 1 else "" if pair.counts else "reference too coarse, not counted"
        print(
            f"{pair.case:40} {pair.quantity:44} {pair.true_error:9.2e} {pair.error_bound:9.2e} {pair.ratio:8.3g} {remark}".rstrip(),
            flush=True,
        )
    if not any(pair.counts for pair in pairs):
        print("no pair counts")
        return 2
    count, share, median_ratio = pair_statistics(pairs)
    print(f"{count} pairs: true error within its bound in {100 * share:.1f} %, median of bound over true error {median_ratio:.1f}")
    return 0 if share >= SMALLEST_SHARE_WITHIN and median_ratio <= LARGEST_MEDIAN_RATIO else 1
