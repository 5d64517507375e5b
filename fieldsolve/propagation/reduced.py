"""The reduced model of a case's held section as the control of its full shots: any circuit on it in milliseconds."""
from __future__ import annotations

from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING

import numpy as np

from fieldsolve.cases.case_file import Case
from fieldsolve.errors import InputError
from fieldsolve.propagation.inputs import UncertainCase, changed_circuit, is_of_circuit
from fieldsolve.propagation.outputs import OutputVector

if TYPE_CHECKING:
    from fieldsolve.shot.reduced.model import ReducedModel

ACCURACY = 1e-2            # of the model: full shots correct it
ROOM = 1.2                 # times the frequency of the lowest inputs, up to which the model is made
LEAST = 0.05               # of a value: the lowest that is reckoned with


@dataclass(frozen=True, eq=False)
class ReducedControl:
    """Outputs of discharges through a reduced model, 0 where it has none.

    factors  by number of an output without a counterpart: what its proxy is multiplied by
    known    (m,) whether it has an output or a proxy of it
    """

    model: ReducedModel
    case: Case
    keys: tuple[str, ...]
    vector: OutputVector
    factors: dict[int, float]
    known: np.ndarray

    def __call__(self, inputs: np.ndarray) -> np.ndarray:
        """Outputs (n, m) at inputs (n, d); those that are not of the circuit are passed over."""
        return np.array([np.where(self.known, self.evaluate(dict(zip(self.keys, values, strict=True))), 0.0)
                         for values in inputs])

    def evaluate(self, values: dict[str, float]) -> np.ndarray:
        """Outputs (m,) with inputs changed, not a number where the model has none."""
        banks, leads, crowbar = changed_circuit(self.case, values)
        run = self.model.discharge(banks, end_time=float(self.case.run.end_time or 0.0), leads=leads, crowbar=crowbar,
                                   error_bounds=False)
        found = self.vector.evaluate(run)
        for number, factor in self.factors.items():
            found[number] = factor * self.vector.proxy(number, run)
        return found


def reduced_control(uncertain: UncertainCase, vector: OutputVector, base: np.ndarray) -> tuple[ReducedControl | None, list[str]]:
    """The control, None where no input is of the circuit or the section has no reduced model; and remarks that say why.

    base  (m,) outputs of the full shot at the best estimates
    """
    from fieldsolve.shot.reduced.solve import reduce_section

    case, keys = uncertain.case, uncertain.keys
    if not any(map(is_of_circuit, keys)):
        return None, []
    try:
        model = reduce_section(case.section, accuracy=ACCURACY, frequency=_highest_frequency(uncertain))
    except InputError as error:
        return None, [f"there is no reduced model of the section, and every input was varied in full shots: {error}"]
    build = partial(ReducedControl, model, case, keys, vector)
    everything = np.ones(vector.size, dtype=bool)
    by_proxy = [k for k, output in enumerate(vector.outputs) if output.proxy and np.isfinite(base[k])]
    found = build(dict.fromkeys(by_proxy, 1.0), everything).evaluate({})
    factors = {k: float((base[k] - vector.outputs[k].rest) / found[k]) for k in by_proxy if np.isfinite(found[k]) and found[k]}
    return build(factors, np.isfinite(found)), []


def _highest_frequency(uncertain: UncertainCase) -> float:
    """Hertz up to which the model must hold: ROOM above that at which the banks ring, their inputs at their lowest, with coils at rest."""
    from fieldsolve.shot.reduced.solve import highest_frequency

    case, end_time = uncertain.case, float(uncertain.case.run.end_time or 0.0)
    lowest = np.maximum(uncertain.lowest, LEAST * uncertain.values)
    banks, leads, _ = changed_circuit(case, {key: value for key, value in zip(uncertain.keys, lowest, strict=True)
                                             if key.endswith(("capacitance", "inductance"))})
    return ROOM * highest_frequency(case.section, banks, leads, end_time)
