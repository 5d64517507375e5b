"""The uncertain inputs of a case as distributions: those of its file, of a ring-down fit, and of a metal's flow stress."""
from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np
from scipy.special import ndtri

from fieldsolve.cases.case_file import Case
from fieldsolve.cases.part_tables import LENGTH_KEYWORDS, MEASURED_RESISTANCE, METAL_KEYS
from fieldsolve.cases.table_keys import UNITS
from fieldsolve.cases.uncertainties import SIGNED, normal_keys
from fieldsolve.circuit.bank import Bank, Crowbar, Leads
from fieldsolve.errors import InputError, SolveError
from fieldsolve.records.comparison.sensitivities import uncertain_inputs
from geometries.cross_section import CrossSection
from geometries.parts import Part

if TYPE_CHECKING:
    from fieldsolve.records.ringdown.result import RingDown

FLOW_STRESS = "flow_stress of "
CIRCUIT_TABLES = ("bank", "second_bank", "crowbar", "leads")
OF_THE_LOOP = ("inductance", "resistance", "arc_voltage", "capacitance")       # parameters of a ring-down fit that a bank has, too
MOST_REDRAWS = 1000
FAR = 5.0                  # standard deviations, beyond which a normal distribution has nearly nothing


@dataclass(frozen=True, eq=False)
class InputGroup:
    """Inputs that vary together, and independently of all others; mostly a single one.

    keys         dotted as in the case, or "flow_stress of PART", a factor on the metal's
    values       (d,) best estimates in SI
    covariance   (d, d) in SI
    rectangular  whether the one input has a rectangular distribution; else they have a normal one
    signed       (d,) whether each may be negative; of the others no negative value is drawn
    """

    keys: tuple[str, ...]
    values: np.ndarray
    covariance: np.ndarray
    rectangular: bool = False
    signed: tuple[bool, ...] = ()

    @property
    def name(self) -> str:
        """The keys, as one text."""
        return " and ".join(self.keys)

    @property
    def uncertainties(self) -> np.ndarray:
        """Standard uncertainties (d,) in SI."""
        return np.sqrt(self.covariance.diagonal())

    def draw(self, generator: np.random.Generator, count: int) -> np.ndarray:
        """Values (count, d) from the distribution, by the inverse of its distribution function."""
        drawn = self._draw(generator, count)
        allowed = np.array(self.signed or len(self.keys) * (False,))
        for _ in range(MOST_REDRAWS):
            wrong = np.flatnonzero(((drawn < 0) & ~allowed).any(axis=1))
            if not len(wrong):
                return drawn
            drawn[wrong] = self._draw(generator, len(wrong))
        raise SolveError(f"{self.name}: nearly all of its distribution is negative; give a smaller uncertainty")

    def _draw(self, generator: np.random.Generator, count: int) -> np.ndarray:
        uniform = generator.random((count, len(self.keys)))
        if self.rectangular:
            return self.values + math.sqrt(3) * self.uncertainties * (2 * uniform - 1)
        return self.values + ndtri(np.clip(uniform, 1e-16, 1 - 1e-16)) @ _root(self.covariance).T


@dataclass(frozen=True, eq=False)
class UncertainCase:
    """A case whose values are the best estimates, and the distributions of its inputs."""

    case: Case
    groups: tuple[InputGroup, ...]

    @property
    def keys(self) -> tuple[str, ...]:
        """Keys of all inputs, in the order of the columns of draws."""
        return tuple(key for group in self.groups for key in group.keys)

    @property
    def values(self) -> np.ndarray:
        """Best estimates (d,) in SI."""
        return np.concatenate([group.values for group in self.groups])

    @property
    def uncertainties(self) -> np.ndarray:
        """Standard uncertainties (d,) in SI."""
        return np.concatenate([group.uncertainties for group in self.groups])

    @property
    def lowest(self) -> np.ndarray:
        """Values (d,) in SI below which nothing is drawn, of normal distributions nearly nothing."""
        return np.concatenate([group.values - (math.sqrt(3) if group.rectangular else FAR) * group.uncertainties for group in self.groups])

    @property
    def covariance(self) -> np.ndarray:
        """Of all inputs, (d, d) in SI."""
        from scipy.linalg import block_diag

        return block_diag(*(group.covariance for group in self.groups))

    def draw(self, count: int, *stream: int) -> np.ndarray:
        """Draws (count, d) of all inputs; those of one stream of numbers are the same to the last bit."""
        generators = np.random.default_rng(np.random.SeedSequence(stream)).spawn(len(self.groups))
        return np.hstack([group.draw(generator, count) for group, generator in zip(self.groups, generators, strict=True)])


def uncertain_case(case: Case, fit: RingDown | None = None, prior: Mapping[str, float] | None = None) -> UncertainCase:
    """The case and the distributions of its inputs.

    fit    replaces what the case gives of its bank's inductance, resistance, arc voltage and, where it was uncertain, capacitance
    prior  relative standard uncertainty by dotted key or "flow_stress of PART": a normal distribution
    Raises InputError where nothing is uncertain, and for a key or fit that cannot be.
    """
    fitted = None if fit is None else _fitted_group(fit)
    if fitted:
        case = case.with_values(dict(zip(fitted.keys, map(float, fitted.values), strict=True)))
    factors = []
    if prior is not None and not isinstance(prior, Mapping):
        raise InputError(f"prior = {prior!r}: give shares by key, such as {{'flow_stress of disc': 0.1}}")
    for key, share in (prior or {}).items():
        _check_share(key, share)
        if key.startswith(FLOW_STRESS):
            factors.append(_flow_stress_group(case, key, share))
        else:
            case = case.with_values({key: f"{_written_value(case, key)} +- {100 * share!r} % (k=1)"})
    normal = normal_keys(case.tables)
    groups = [_single_group(key, value, uncertainty, key not in normal) for key, (value, uncertainty) in uncertain_inputs(case).items()]
    groups = [*([fitted] if fitted else []), *groups, *factors]
    if not groups:
        raise InputError(f"{case.name}: gives no uncertainty of what a shot depends on; write it behind a value, such as "
                         "capacitance = '120 uF +- 3 %'")
    return UncertainCase(case, tuple(groups))


def is_of_circuit(key: str) -> bool:
    """Whether an input is one of bank, crowbar or leads, and the section stays as it is."""
    return key.split(".")[0] in CIRCUIT_TABLES


def unit_of_key(key: str) -> str:
    """SI unit of an input, empty for a pure number.

    >>> unit_of_key("bank.capacitance"), unit_of_key("disc.layers.0.0"), unit_of_key("flow_stress of disc")
    ('F', 'm', '')
    """
    table, *path = key.split(".")
    if key.startswith(FLOW_STRESS) or not path:
        return ""
    if table in UNITS and path[-1] in UNITS[table]:
        return UNITS[table][path[-1]] or ""
    names = METAL_KEYS | {MEASURED_RESISTANCE: "ohm"}
    return names.get(path[-1], "m" if path[0] in (*LENGTH_KEYWORDS, "layers", "wire_section") else "")


def changed_case(case: Case, values: Mapping[str, float]) -> Case:
    """The case with inputs in SI changed; `with_values` for "flow_stress of PART", too."""
    written = {key: float(value) for key, value in values.items() if not key.startswith(FLOW_STRESS)}
    factors = {key.removeprefix(FLOW_STRESS): float(value) for key, value in values.items() if key.startswith(FLOW_STRESS)}
    changed = case.with_values(written) if written else case
    changed = replace(changed, banks=tuple(map(_without_rating, changed.banks)))
    if not factors:
        return changed
    parts = tuple(_with_flow_stress(part, factors[part.name]) if part.name in factors else part for part in changed.parts)
    return replace(changed, section=CrossSection(parts))


def changed_circuit(case: Case, values: Mapping[str, float]) -> tuple[tuple[Bank, ...], Leads, Crowbar | None]:
    """Banks, leads and crowbar of the case with inputs in SI changed; inputs that are not of the circuit are passed over."""
    found: dict[str, Any] = {"bank": case.banks[0], "leads": case.leads, "crowbar": case.crowbar}
    found |= {"second_bank": case.banks[1]} if len(case.banks) > 1 else {}
    for key, value in values.items():
        table, _, name = key.partition(".")
        if table in found:
            found[table] = replace(found[table], **{name: float(value)})
    banks = tuple(_without_rating(found[name]) for name in ("bank", "second_bank") if name in found)
    return banks, found["leads"], found["crowbar"]


def _without_rating(bank: Bank) -> Bank:
    """A bank that may be charged a little above what its maker allows: of the best estimates that is checked."""
    return replace(bank, rated_voltage=None)


def _root(covariance: np.ndarray) -> np.ndarray:
    """A matrix L with L L^T the covariance, which may have no inverse."""
    values, vectors = np.linalg.eigh(covariance)
    signs = np.sign(vectors[np.abs(vectors).argmax(axis=0), range(len(values))])          # of eigenvectors the sign is open
    return vectors * signs * np.sqrt(np.maximum(values, 0.0))


def _single_group(key: str, value: float, uncertainty: float, rectangular: bool) -> InputGroup:
    return InputGroup((key,), np.array([value]), np.array([[uncertainty**2]]), rectangular, (key.split(".")[-1] in SIGNED,))


def _check_share(key: str, share: Any) -> None:
    if isinstance(share, bool) or not isinstance(share, (int, float)) or not 0 < share <= 1:
        raise InputError(f"prior {key!r}: {share!r} is no relative standard uncertainty; give a number above 0 and at most 1, such as 0.1")


def _written_value(case: Case, key: str) -> str:
    """What the case gives for a key, without an uncertainty."""
    from fieldsolve.units import split_uncertainty

    place: Any = case.tables
    for step in key.split("."):
        place = place[int(step)] if isinstance(place, list) else place.get(step) if isinstance(place, dict) else None
    if not isinstance(place, (str, int, float)) or isinstance(place, bool):
        raise InputError(f"prior {key!r}: the case gives no such value; write it there, or name one that is there")
    return split_uncertainty(place, key)[0] if isinstance(place, str) else repr(place)


def _flow_stress_group(case: Case, key: str, share: float) -> InputGroup:
    part = case.section.part(key.removeprefix(FLOW_STRESS))
    if not any(_mechanical(zone) for zone in part.zones):
        raise InputError(f"prior {key!r}: the flow stress of its metal is not known; name a metal that has one")
    return _single_group(key, 1.0, share, False)


def _mechanical(zone) -> Any:
    return getattr(zone.material, "mechanical", None)


def _with_flow_stress(part: Part, factor: float) -> Part:
    def scaled(zone):
        mechanical = _mechanical(zone)
        if mechanical is None:
            return zone
        law = replace(mechanical.flow_stress, scale=mechanical.flow_stress.scale * factor)
        return replace(zone, material=replace(zone.material, mechanical=replace(mechanical, flow_stress=law)))
    return replace(part, zones=tuple(map(scaled, part.zones)))


def _fitted_group(fit: RingDown) -> InputGroup:
    """The bank's constants of a ring-down fit, with their covariance and the load's uncertainty."""
    if not fit.bank or fit.load is None:
        raise InputError("fit: is of the whole loop; give load= to fit_ring_down, so that the bank's own constants are known")
    names, all_names = [name for name in OF_THE_LOOP if name in fit.parameters], list(fit.parameters)
    for name in names:
        if not (interval := fit.bank.get(name, fit.parameters[name])).determined or interval.value is None:
            raise InputError(f"fit: its record does not determine the {name.replace('_', ' ')}; fit two records of different charge "
                             "together")
    places = [all_names.index(name) for name in names]
    covariance = fit.covariance[np.ix_(places, places)].copy()
    for name, of_load in (("inductance", fit.load.inductance_uncertainty), ("resistance", fit.load.resistance_uncertainty)):
        covariance[names.index(name), names.index(name)] += of_load**2
    values = np.array([float(fit.bank.get(name, fit.parameters[name]).value or 0.0) for name in names])
    return InputGroup(tuple(f"bank.{name}" for name in names), values, covariance)
