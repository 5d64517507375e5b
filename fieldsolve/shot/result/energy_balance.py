"""Where the banks' energy went, from the series of a shot alone: stores by their formula, sinks as the steps summed them up."""
from __future__ import annotations

import itertools
import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from fieldsolve.estimate import Estimate
from fieldsolve.renamed import old_attributes
from fieldsolve.shot.history import History
from fieldsolve.shot.integrator.field_circuit import Circuit
from fieldsolve.shot.network import bank_places, coils_of

MAX_UNEXPLAINED_SHARE = 1.5e-3           # of `scale`, unexplained: the model no longer holds


@dataclass(frozen=True, eq=False)
class EnergyBalance:
    """Energies of a shot in joule over `times` in seconds, each of shape (k,).

    supplied   by the banks at the start, or by prescribed currents until each time
    stores     energy that stands in the field, in capacitors, in motion, ..., by name
    sinks      energy spent since the start as heat, in the arc, in plastic flow, ..., by name
    monitored  whether metal moves on a bank's energy: a balance that is lost then shows cells that fold
    errors     error bound of each final energy in J, by name; None: not known
    """

    times: np.ndarray
    supplied: np.ndarray
    stores: dict[str, np.ndarray]
    sinks: dict[str, np.ndarray]
    monitored: bool = False
    errors: Mapping[str, float] | None = None

    def __repr__(self) -> str:
        return f"EnergyBalance({len(self.stores)} stores and {len(self.sinks)} sinks at {len(self.times)} instants, {self.scale:.4g} J)"

    __getattr__ = old_attributes("EnergyBalance")

    @property
    def initial(self) -> float:
        """The banks' energy at the start; of prescribed currents the field's, J."""
        return float(self.supplied[0])

    @property
    def scale(self) -> float:
        """The banks' initial energy; of prescribed currents the largest energy supplied or in any store or sink, J."""
        return max(float(np.abs(series).max()) for series in (self.supplied, *self.stores.values(), *self.sinks.values()))

    @property
    def unexplained(self) -> np.ndarray:
        """Energy supplied less all stores and sinks, J."""
        return self.supplied - sum(self.stores.values()) - sum(self.sinks.values())

    @property
    def residual(self) -> Estimate:
        """Largest unexplained energy of the shot as a share of `scale`; it has no error bound, for it is itself an error."""
        k = int(np.abs(self.unexplained).argmax())
        value = float(np.abs(self.unexplained[k])) / self.scale
        return Estimate(value, math.inf, "", time=float(self.times[k]))

    def imbalance_time(self, accuracy: float) -> float | None:
        """Seconds from which on more is unexplained than steps of this accuracy leave; None: never, or not monitored."""
        exceeded = np.flatnonzero(np.abs(self.unexplained) > max(MAX_UNEXPLAINED_SHARE, 0.5 * accuracy) * self.scale)
        return float(self.times[exceeded[0]]) if self.monitored and len(exceeded) else None

    def final_energies(self) -> dict[str, Estimate]:
        """Joule in each store and sink at the end, by name."""
        return {name: Estimate(float(values[-1]), self._error(name), "J") for name, values in {**self.stores, **self.sinks}.items()}

    def _error(self, name: str) -> float:
        return math.inf if self.errors is None else self.errors.get(name, math.inf)


def running_integral(times: np.ndarray, values: np.ndarray, slopes: np.ndarray | None = None) -> np.ndarray:
    """Running integral; with slopes by the corrected trapezoid h/2 (f0 + f1) + h^2/12 (f0' - f1'), of fourth order."""
    h = np.diff(times)
    parts = 0.5 * h * (values[1:] + values[:-1])
    if slopes is not None:
        parts += h**2 / 12 * (slopes[:-1] - slopes[1:])
    return np.concatenate([[0.0], np.cumsum(parts)])


def running_smooth_integral(times: np.ndarray, values: np.ndarray) -> np.ndarray:
    """Running integral of a smooth series, of fourth order: its slopes are those of parabolas through three neighbours."""
    if len(times) < 3:
        return running_integral(times, values)
    return running_integral(times, values, np.gradient(values, times, edge_order=2))


def supplied_energy(network: Circuit, history: History) -> np.ndarray:
    """Joule that prescribed currents have supplied until each time: the running integral of I (R I + dPsi/dt) of all coils; shape (k,).

    Between the corners of the currents by splines through I, R I and Psi, none of which jumps there as the voltage does.
    """
    from scipy.interpolate import CubicSpline

    t = history.times
    corners = np.searchsorted(t, [time for time in network.corner_times if t[0] < time < t[-1]])
    total, (nodes, weights) = np.zeros(len(t)), np.polynomial.legendre.leggauss(3)
    for start, end in itertools.pairwise(np.unique([0, *corners, len(t) - 1])):
        piece = slice(start, end + 1)
        for name in coils_of(network):
            current, resistive, flux = (CubicSpline(t[piece], history.series(quantity, name)[piece])
                                        for quantity in ("current", "resistive_voltage", "flux"))
            half = 0.5 * np.diff(t[piece])
            at = t[start:end, None] + half[:, None] * (1 + nodes)
            total[start + 1:end + 1] += half * ((current(at) * (resistive(at) + flux(at, 1))) @ weights)
    return np.cumsum(total)


def build_balance(network: Circuit, history: History, parts: tuple[str, ...], moving: tuple[str, ...]) -> EnergyBalance:
    """The balance of a shot: `parts` that conduct, `moving` bodies."""
    t = history.times
    stores = {"field": history.series("energy", "field")}
    sinks, supplied = {}, np.full(len(t), sum(bank.energy for bank in network.banks))
    if not network.banks:
        supplied = stores["field"][0] + supplied_energy(network, history)
    for place, bank in zip(bank_places(network), network.banks, strict=True):
        i, v = history.series("current", place), history.series("voltage", place)
        stores[f"{place} capacitor"] = 0.5 * bank.capacitance * v**2
        stores[f"{place} inductance"] = 0.5 * bank.inductance * i**2
        sinks[f"{place} resistance"] = history.values["ohmic_loss", place]
        sinks[f"{place} arc"] = history.values["arc_loss", place]
    if network.banks:
        sinks["leads"] = history.values["ohmic_loss", "leads"]
        stores["leads inductance"] = 0.5 * network.leads.inductance * sum(
            history.series("current", branch[0]) ** 2 for branch in network.branches)
    if network.crowbar:
        stores["crowbar inductance"] = 0.5 * network.crowbar.inductance * history.series("current", "crowbar") ** 2
        sinks["crowbar"] = history.values["ohmic_loss", "crowbar"]
    for name in parts:
        sinks[f"heat in {name}"] = history.values["joule_heat", name]
        if ("magnetism_energy", name) in history.values and history.series("magnetism_energy", name).any():
            sinks[f"heat of {name} to the field, its magnetism lost"] = -history.series("magnetism_energy", name)
    for name in moving:
        kinetic, potential = history.series("kinetic_energy", name), history.series("potential_energy", name)
        stores[f"motion of {name}"], stores[f"weight of {name}"] = kinetic - kinetic[0], potential
        stores[f"strain of {name}"] = history.series("elastic_energy", name)
        sinks[f"flow of {name}"] = history.series("dissipated_energy", name)
        sinks[f"what moves {name}"] = history.series("external_energy", name)
    return EnergyBalance(t, supplied, stores, sinks, monitored=bool(moving and network.banks))
