"""Uncertain parameters of a case: their prior distributions, and the case with other values of them."""
from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from fieldsolve.cases.calibration_file import FLOW_STRESS, GAIN, key_unit, scaled_section
from fieldsolve.cases.case_file import Case
from fieldsolve.cases.table_keys import UNITS
from fieldsolve.errors import InputError
from fieldsolve.estimate import QUANTILE, Interval
from fieldsolve.units import parse_quantity, split_uncertainty

Prior = Mapping[str, float | str] | Sequence[str]
PURE = ("turns", "fill", "layers")               # counts and shares, which no record calibrates
LARGEST_RELATIVE = 1.0                           # standard deviation of a prior
FLOW_STRESS_DEVIATION = 0.3                      # of a prior that nobody gives: what the tables of one alloy scatter


@dataclass(frozen=True)
class Parameter:
    """One uncertain number of a case, as a standard normal variable x.

        value(x) = value exp(deviation x)     where it is logarithmic,     else  value + deviation x

    name         dotted key of the case, "gain" of the record, or "flow_stress of PART", a factor on its flow stress
    value        most probable value before any record, SI
    deviation    standard deviation of the prior: relative where the parameter is logarithmic, else in SI
    unit         SI, empty for a pure number
    """

    name: str
    value: float
    deviation: float
    unit: str = ""
    logarithmic: bool = True

    def at(self, x: float) -> float:
        """The value at x standard deviations of the prior."""
        return self.value * math.exp(self.deviation * x) if self.logarithmic else self.value + self.deviation * x

    def interval(self, x: float = 0.0, deviation: float = 1.0) -> Interval:
        """The 95 % interval where x has that mean and standard deviation."""
        low, high = sorted(self.at(x + sign * QUANTILE * deviation) for sign in (-1, 1))
        return Interval(self.at(x), low, high, self.unit)

    @property
    def is_gain(self) -> bool:
        """Whether it multiplies the record, so that no shot is needed for it."""
        return self.name == GAIN


def read_parameters(case: Case, prior: Prior, scale_uncertainty: float = 0.0) -> tuple[Parameter, ...]:
    """The parameters that a prior names, by relative standard deviation, or by a standard deviation with its unit such as "20 V".

    Names alone get the uncertainty that the case gives, and a flow stress 30 %.

    scale_uncertainty  of the record's channel: the gain's prior where `prior` names none
    Raises InputError, with the name, for an unknown one and for a deviation that makes no sense.
    """
    given = dict(prior) if isinstance(prior, Mapping) else {
        name: _prior_of_case(case, name) for name in prior if name != GAIN or not scale_uncertainty}
    if GAIN not in given and 0 < scale_uncertainty < LARGEST_RELATIVE:
        given[GAIN] = scale_uncertainty
    return tuple(_parameter(case, name, deviation) for name, deviation in given.items())


def default_prior(case: Case, part: str) -> dict[str, Any]:
    """The uncertainties that the case itself gives of its bank and leads, and 30 % of the part's flow stress."""
    found = [key for key in case.uncertainties if key.partition(".")[0] in ("bank", "leads")]
    return {name: _prior_of_case(case, name) for name in (*found, FLOW_STRESS + part)}


def _prior_of_case(case: Case, name: str) -> Any:
    if isinstance(name, str) and name.startswith(FLOW_STRESS):
        return FLOW_STRESS_DEVIATION
    if name not in case.uncertainties:
        raise InputError(f"prior {name!r}: the case gives no uncertainty of it; write it there, such as '6 mohm +- 5 %', or give names "
                         "with deviations, such as {'bank.resistance': 0.05}")
    return f"{case.uncertainties[name][1]:.9g} {_unit(case, name)}"


def _parameter(case: Case, name: str, deviation: Any) -> Parameter:
    value, unit = (1.0, "") if name == GAIN else (_flow_stress_factor(case, name), "") if name.startswith(FLOW_STRESS) else \
        (case_value(case, name), _unit(case, name))
    if isinstance(deviation, str):
        absolute = parse_quantity(deviation, unit, f"prior {name}")
        _check_deviation(name, absolute, math.inf)
        return Parameter(name, value, absolute, unit, logarithmic=False) if not value > 0 or absolute > value else \
            Parameter(name, value, absolute / value, unit)
    _check_deviation(name, deviation, LARGEST_RELATIVE)
    if not value > 0:
        raise InputError(f"prior {name} = {deviation!r}: the case's value is {value:g}, of which nothing is a share; give the case a "
                         f"value, or the deviation with its unit, such as '20 {unit}'")
    return Parameter(name, value, float(deviation), unit)


def _check_deviation(name: str, deviation: Any, largest: float) -> None:
    if isinstance(deviation, bool) or not isinstance(deviation, (int, float)) or not 0 < deviation <= largest:
        raise InputError(f"prior {name} = {deviation!r}: give a relative standard deviation above 0 and at most {LARGEST_RELATIVE:g}, such "
                         "as 0.1, or a text with its unit")


def case_value(case: Case, key: str) -> float:
    """The number in SI under a dotted key of a case; 0 where a bank or leads do not give it.  InputError for what is no number."""
    table, _, name = key.partition(".")
    unit = _unit(case, key)
    raw = case.tables.get(table, {}).get(name)
    if raw is None and table in UNITS:
        return 0.0
    if raw is None:
        raise InputError(f"prior {key}: the case gives no [{table}] {name}; add it")
    return parse_quantity(split_uncertainty(raw, key)[0] if isinstance(raw, str) else raw, unit, key)


def _unit(case: Case, key: str) -> str:
    table, _, name = key.partition(".")
    unit = key_unit(case.tables, key) if table in case.tables and name not in PURE else None
    if unit is None:
        raise InputError(f"prior {key!r}: is no number of the case; give a dotted key such as 'bank.resistance', 'gain', or "
                         f"'flow_stress of {case.parts[-1].name}'")
    return unit


def _flow_stress_factor(case: Case, name: str) -> float:
    part = next((part for part in case.parts if part.name == name.removeprefix(FLOW_STRESS)), None)
    if part is None:
        raise InputError(f"prior {name!r}: there is no such part; there are {', '.join(part.name for part in case.parts)}")
    if not any(getattr(zone.material, "mechanical", None) for zone in part.zones):
        raise InputError(f"prior {name!r}: its metal has no flow stress")
    return 1.0


def case_with_parameters(case: Case, parameters: Sequence[Parameter], x: np.ndarray) -> Case:
    """The case with the parameters at x standard deviations of their priors; the gain is of the record and changes nothing here."""
    pairs = [(parameter, parameter.at(float(value))) for parameter, value in zip(parameters, x, strict=True) if not parameter.is_gain]
    keys = {parameter.name: value for parameter, value in pairs if not parameter.name.startswith(FLOW_STRESS)}
    changed = case.with_values(keys) if keys else case
    for parameter, value in pairs:
        if parameter.name.startswith(FLOW_STRESS):
            changed = with_flow_stress(changed, parameter.name.removeprefix(FLOW_STRESS), value)
    return changed


def with_flow_stress(case: Case, name: str, factor: float) -> Case:
    """The case with the flow stress of a part multiplied by a factor."""
    return replace(case, section=scaled_section(case.section, {name: factor}))
