"""What comes of one discharge: series, peaks and figures with their errors, the field and the metal at any time."""
from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from scipy.interpolate import CubicHermiteSpline

from fieldsolve.estimate import Estimate
from fieldsolve.field.fem.nodal_field import NodalField
from fieldsolve.field.system.eddy_current import EddySystem
from fieldsolve.field.transient.field import ShotField
from fieldsolve.motion.hoops.hoops import Burst
from fieldsolve.ode import SDIRK2, WorkCounts
from fieldsolve.renamed import old_attributes
from fieldsolve.shot.history import UNITS, History
from fieldsolve.shot.integrator.field_circuit import Circuit
from fieldsolve.shot.network import bank_places, coils_of
from fieldsolve.shot.result.energy_balance import EnergyBalance, running_integral, running_spline_integral
from fieldsolve.shot.result.kinematics import (
    Departure,
    Profile,
    check_time,
    find_departure,
    flux_over_current,
    sample_frames,
    section_profile,
)
from fieldsolve.shot.result.metal_history import MetalHistory, MetalMap
from fieldsolve.shot.result.summary import summary_html, summary_text
from geometries.cross_section import CrossSection
from geometries.errors import InputError
from geometries.mesh import Mesh


@dataclass(frozen=True, eq=False)
class Shot:
    """What one discharge did; every error is the difference from a run with doubled cells and halved steps, made when first read.

    No figure is stated to be better than the currents' peaks.
    """

    section: CrossSection
    network: Circuit
    history: History
    energy: EnergyBalance
    accuracy: float
    steps: int
    wall_time: float
    unknowns: int
    events: tuple[tuple[float, str], ...]
    interrupted: bool                                         # by a person or a failure
    stop_reason: str                                                # why the metal's motion ended it before its time; "": it did not
    remesh_count: int                                             # how often the air's mesh was made new around moving metal
    build: Callable[[Mesh], EddySystem] = field(repr=False)   # the system of the cold metal on a mesh
    fields: tuple = field(repr=False)                         # (u, u_t, sigma, mesh) at each instant
    refined_run: Callable[[], Shot] = field(repr=False)             # the finer run, made once
    metal: MetalHistory = field(repr=False)
    work: WorkCounts = field(default_factory=WorkCounts)      # steps, rejected ones, stages, factorizations, mechanics passes, remeshes
    method: str = SDIRK2.name                                 # in time
    fixed_parts: Mapping[str, str] = field(default_factory=dict)      # why a part that was to move was held still, by its name

    __getattr__ = old_attributes("Shot")

    @property
    def times(self) -> np.ndarray:
        """Instants of the record in seconds."""
        return self.history.times

    def series(self, quantity: str, place: str) -> np.ndarray:
        """A series over `times`: current, voltage, field, loop_voltage, power, radial_force, ...; places are parts, 'bank', 'bore', ..."""
        return self.history.series(quantity, place)

    def series_error(self, quantity: str, place: str) -> np.ndarray:
        """Error of a series over `times`: its difference from that of the finer run, straight between its instants."""
        refined = self.refined_run()
        return np.abs(self.series(quantity, place) - np.interp(self.times, refined.times, refined.series(quantity, place)))

    def peak(self, quantity: str, place: str) -> Estimate:
        """Largest magnitude of a series with its sign kept, and its time."""
        unit, time = UNITS.get(quantity, ""), self.history.peak(quantity, place)[1]
        return self._estimate(lambda shot: shot.history.peak(quantity, place)[0], unit, time)

    def radius_ratio(self, name: str) -> Estimate:
        """Final over initial outer radius of a body; 1 while metal is held."""
        self.section.part(name)
        if ("outer_radius", name) not in self.history.values:
            return Estimate(1.0, 0.0, "")
        return self._estimate(lambda shot: shot.series("outer_radius", name)[-1] / shot.series("outer_radius", name)[0])

    def thickness_ratio(self, name: str, at: str = "rim") -> Estimate:
        """Final over initial thickness of a body at 'axis', 'mid-radius' or 'rim' (mean over the outer tenth); 1 while metal is held."""
        if at not in ("axis", "mid-radius", "rim"):
            raise InputError(f"at = {at!r}: choose 'axis', 'mid-radius' or 'rim'")
        quantity = f"{at.replace('-', '_')}_thickness"
        if (quantity, name) not in self.history.values:
            return self.radius_ratio(name)
        if not self.series(quantity, name)[0] > 0:
            raise InputError(f"thickness at {at} of {name}: no metal was there at the start; ask at 'rim'")
        return self._estimate(lambda shot: shot.series(quantity, name)[-1] / shot.series(quantity, name)[0])

    def burst(self, name: str) -> Burst | None:
        """A coil when its first turn reaches the least strain its metal breaks at: turn, energy, speed, mass; None if none does."""
        self.section.part(name)
        return self.metal.bursts(name)[0]

    def burst_time(self, name: str) -> Estimate | None:
        """When a coil's first turn reaches the least strain its metal breaks at; None if none does, or the coil is held."""
        return self.burst_time_range(name)[0]

    def burst_time_range(self, name: str) -> tuple[Estimate | None, Estimate | None]:
        """When a coil's first turn reaches the least and the largest strain its metal breaks at; None where none does in the record.

        Where the finer run has no burst the error reaches to the end of its record at least.
        """
        self.section.part(name)

        def burst_estimate(k: int) -> Estimate | None:
            burst = self.metal.bursts(name)[k]
            return burst and self._estimate(lambda shot: getattr(shot.metal.bursts(name)[k], "time", shot.times[-1]), "s")
        return burst_estimate(0), burst_estimate(1)

    @property
    def validity_end(self) -> float | None:
        """Seconds from which on the shot is beyond the model, for the reason `validity_reason`; None where it stays within it."""
        return min(self._validity_ends, default=(None, ""))[0]

    @property
    def validity_reason(self) -> str:
        """Why the shot is beyond the model: a turn of some coil may have burst, or its energy is no longer accounted for."""
        return min(self._validity_ends, default=(None, ""))[1]

    @cached_property
    def _validity_ends(self) -> list[tuple[float, str]]:
        imbalance_time = self.energy.imbalance_time(self.accuracy)
        return [*((burst.time, "a turn may have burst, treat the bank as charged") for name in self.coils if (burst := self.burst(name))),
                *([(imbalance_time, "the energy balance is lost")] if imbalance_time is not None else [])]

    def profile(self, name: str, time: float) -> Profile:
        """Outline and thickness of a part at any time of the shot."""
        return section_profile(self, name, time)

    def metal_at(self, time: float) -> MetalMap:
        """Temperature, its plastic share, strain and its rate in the metal, at the stored instant nearest to `time` in seconds."""
        k = self._nearest(time)
        return self.metal.map_at(k, float(self.times[k]), self.section, self.fields[k][3])

    def at_frames(self, rate: float, place: str, quantity: str = "outer_radius", first: float = 0.0) -> tuple[np.ndarray, np.ndarray]:
        """(times in s, values) of a series at the frames of a camera of `rate` frames a second, the first at `first` in seconds."""
        return sample_frames(self, rate, quantity, place, first)

    def departure(self, name: str, coil: str | None = None) -> Departure | None:
        """When the middle of a body passes an end face of a coil (the first of the circuit if None); None where it stays."""
        return find_departure(self, name, coil or self.coils[0])

    def apparent_inductance(self) -> tuple[np.ndarray, np.ndarray]:
        """(times in s, henry) of the coils as the bank sees them, flux over current, where enough current flows to tell."""
        return flux_over_current(self)

    def field_at(self, time: float) -> ShotField:
        """The whole field at the stored instant nearest to `time` in seconds."""
        k = self._nearest(time)
        currents = {name: float(self.series("current", name)[k]) for name in self.coils}
        return self._field(float(self.times[k]), *self.fields[k], currents, self.metal.remaining_magnetization(k))

    def _nearest(self, time: float) -> int:
        check_time(self, time)
        return int(np.abs(self.times - time).argmin())

    def _field(self, time: float, u, u_t, sigma, mesh: Mesh, currents: dict[str, float], remaining: np.ndarray | None) -> ShotField:
        system = (self.system if mesh is self.system.mesh else self.build(mesh)).with_conductivity(sigma)
        system = system if remaining is None else system.with_magnetization_fraction(remaining)
        solution = NodalField(mesh, u, self.network.applied_field)
        return ShotField(time, self.section, solution, u_t, system, currents, lambda: self.refined_run()._between(time),
                         lambda: self._typical_error)

    @cached_property
    def system(self) -> EddySystem:
        """The system of the cold metal in its first place."""
        return self.build(self.fields[0][3])

    def _between(self, time: float) -> ShotField:
        """The field at any time of the shot: by cubics through two stored instants and their rates; conductivity on a straight line.

        Where the metal moves, the stored instant before it.
        """
        k = int(np.clip(np.searchsorted(self.times, time), 1, len(self.times) - 1))
        (start, end), (before, after) = self.times[k - 1:k + 1], self.fields[k - 1:k + 1]
        if before[3] is not after[3]:
            return self.field_at(start)
        cubic = CubicHermiteSpline([start, end], np.array([before[0], after[0]]), np.array([before[1], after[1]]))
        share = (time - start) / (end - start)
        currents = {name: float(np.interp(time, self.times, self.series("current", name))) for name in self.coils}
        return self._field(time, cubic(time), cubic(time, 1), before[2] + share * (after[2] - before[2]), before[3], currents,
                           self.metal.remaining_magnetization(k))

    @property
    def held(self) -> bool:
        """Whether all metal stayed where it was."""
        return self.fields[0][3] is self.fields[-1][3]

    def summary(self) -> str:
        """One screen for a person in a workshop."""
        return summary_text(self)

    def _repr_html_(self) -> str:
        return summary_html(self)

    def plot_current(self, measured=None, **options):
        """Draw the current of a coil, and over it a measured record, see `fieldsolve.plot_current`."""
        from fieldsolve.report.plots.shot import plot_current
        return plot_current(self, measured, **options)

    @property
    def bodies(self) -> tuple[str, ...]:
        """Names of the conducting bodies."""
        return tuple(place for quantity, place in self.history.values if quantity == "loop_voltage")

    @property
    def coils(self) -> tuple[str, ...]:
        """Names of the coils in the circuit."""
        return coils_of(self.network)

    @property
    def bank_places(self) -> tuple[str, ...]:
        """Names under which the banks' series stand."""
        return bank_places(self.network)

    @property
    def reversal(self) -> Estimate:
        """Largest reverse voltage of the first bank over its charge voltage."""
        if not self.bank_places:
            raise InputError("the currents were given: there is no bank whose voltage reverses")
        return self.reversal_of(self.bank_places[0])

    def reversal_of(self, place: str) -> Estimate:
        """Largest reverse voltage of a bank over its charge voltage."""
        charge = self.network.banks[self.bank_places.index(place)].voltage
        return self._estimate(lambda shot: max(0.0, -float(shot.series("voltage", place).min())) / charge)

    @property
    def residual_voltages(self) -> dict[str, Estimate]:
        """Voltage left on each bank at the end, volt."""
        return {place: self._estimate(lambda shot, place=place: shot.series("voltage", place)[-1], "V") for place in self.bank_places}

    def power_over_current(self, body: str) -> Estimate:
        """Heat power of a body over its net current at that current's peak, in volt: a mean over the body, less than round the rim."""
        def ratio(shot: Shot) -> float:
            peak, time = shot.history.peak("current", body)
            return float(np.interp(time, shot.times, shot.series("power", body))) / abs(peak) if peak else 0.0
        return self._estimate(ratio, "V", self.history.peak("current", body)[1])

    def impulse(self, name: str) -> Estimate:
        """Integral of the radial force on a part over the shot in N s, inward negative."""
        return self._estimate(lambda shot: running_spline_integral(shot.times, shot.series("radial_force", name))[-1], "N s")

    def action(self, name: str) -> Estimate:
        """Integral of the square of a coil's current over the shot in A^2 s."""
        def integrated(shot: Shot) -> float:
            current, rate = shot.series("current", name), shot.series("current_rate", name)
            return running_integral(shot.times, current**2, 2 * current * rate)[-1]
        return self._estimate(integrated, "A^2 s")

    def _estimate(self, evaluate: Callable[[Shot], float], unit: str = "", time: float | None = None) -> Estimate:
        value = float(evaluate(self))
        return Estimate(
            value, lambda: max(abs(value - float(evaluate(self.refined_run()))), self._typical_error * abs(value)), unit, time=time
        )

    @cached_property
    def _typical_error(self) -> float:
        """Largest relative difference of the peak currents from the finer run's: another figure may meet its own by chance."""
        peaks = [[shot.history.peak("current", place)[0] for place in (*self.coils, *self.bodies)] for shot in (self, self.refined_run())]
        return max((abs(a - b) / max(abs(a), abs(b)) for a, b in zip(*peaks, strict=True) if a and b), default=0.0)
