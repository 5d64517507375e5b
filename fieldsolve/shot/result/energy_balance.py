"""Where the banks' energy went, from the recorded series alone: stores by their formula, sinks as the steps summed them up."""
from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.interpolate import CubicSpline

from fieldsolve.estimate import Estimate
from fieldsolve.shot.history import History
from fieldsolve.shot.integrator.field_circuit import Circuit
from fieldsolve.shot.network import bank_places, coils_of

MAX_UNEXPLAINED_SHARE = 1.5e-3           # of `scale`, unexplained: the model no longer holds


@dataclass(frozen=True, eq=False)
class EnergyBalance:
    """Energies in joule over `times`: `supplied` by the banks at the start, or by given currents until then; `finer`: of a finer run.

    watched   whether metal moves on a bank's energy: a balance that is lost then tells of cells that fold
    """

    times: np.ndarray
    supplied: np.ndarray
    stores: dict[str, np.ndarray]
    sinks: dict[str, np.ndarray]
    refined_balance: Callable[[], EnergyBalance]
    monitored: bool = False

    @property
    def initial(self) -> float:
        """The banks' energy at the start; of given currents the field's."""
        return float(self.supplied[0])

    @property
    def scale(self) -> float:
        """The banks' initial energy; of given currents the largest energy that came in or stood in any store or sink, joule."""
        return max(float(np.abs(series).max()) for series in (self.supplied, *self.stores.values(), *self.sinks.values()))

    @property
    def unexplained(self) -> np.ndarray:
        """Energy supplied less all stores and sinks, joule."""
        return self.supplied - sum(self.stores.values()) - sum(self.sinks.values())

    @property
    def residual(self) -> Estimate:
        """Largest unexplained energy of the shot as a share of `scale`."""
        k = int(np.abs(self.unexplained).argmax())
        value = float(np.abs(self.unexplained[k])) / self.scale
        return Estimate(value, lambda: value - self.refined_balance().residual, "", time=float(self.times[k]))

    def imbalance_time(self, accuracy: float) -> float | None:
        """Seconds from which on more is unexplained than steps of an accuracy leave so, share LOST at least; None: never or not watched."""
        exceeded = np.flatnonzero(np.abs(self.unexplained) > max(MAX_UNEXPLAINED_SHARE, 0.5 * accuracy) * self.scale)
        return float(self.times[exceeded[0]]) if self.monitored and len(exceeded) else None

    def final_energies(self) -> dict[str, Estimate]:
        """Joule in each store and sink at the end."""
        return {
            name: Estimate(
                values[-1], lambda name=name, value=float(values[-1]): value - self.refined_balance().final_energies()[name], "J"
            )
            for name, values in {**self.stores, **self.sinks}.items()
        }


def running_integral(times: np.ndarray, values: np.ndarray, slopes: np.ndarray | None = None) -> np.ndarray:
    """Running integral; with slopes by the corrected trapezoid h/2 (f0 + f1) + h^2/12 (f0' - f1'), of fourth order."""
    h = np.diff(times)
    parts = 0.5 * h * (values[1:] + values[:-1])
    if slopes is not None:
        parts += h**2 / 12 * (slopes[:-1] - slopes[1:])
    return np.concatenate([[0.0], np.cumsum(parts)])


def running_spline_integral(times: np.ndarray, values: np.ndarray) -> np.ndarray:
    """Running integral of the cubic spline through a series."""
    if len(times) < 3:
        return running_integral(times, values)
    spline = CubicSpline(times, values).antiderivative()
    return spline(times) - spline(times[0])


def build_balance(network: Circuit, history: History, parts: tuple[str, ...], moving: tuple[str, ...],
                  refined_balance: Callable[[], EnergyBalance]) -> EnergyBalance:
    """The balance of a shot: `parts` that heat, `moving` bodies."""
    t = history.times
    stores = {"field": history.series("energy", "field")}
    sinks, supplied = {}, np.full(len(t), sum(bank.energy for bank in network.banks))
    if not network.banks:
        powers = [history.series("voltage", name) * history.series("current", name) for name in coils_of(network)]
        supplied = stores["field"][0] + running_spline_integral(t, sum(powers, np.zeros(len(t))))
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
    return EnergyBalance(t, supplied, stores, sinks, refined_balance, bool(moving and network.banks))
