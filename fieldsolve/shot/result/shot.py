"""The result of one discharge: series, peaks and quantities with their error bounds, the field and the metal at any time."""
from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import numpy as np

from fieldsolve.estimate import Estimate
from fieldsolve.field.system.eddy_current import EddySystem
from fieldsolve.field.transient.field import ShotField
from fieldsolve.motion.hoops.hoops import Burst
from fieldsolve.ode import WorkCounts
from fieldsolve.pickling import declared_fields
from fieldsolve.renamed import old_attributes
from fieldsolve.shot.display import drawings
from fieldsolve.shot.display.summary import short_text, summary_html, summary_text
from fieldsolve.shot.display.table import data_frame, series_units
from fieldsolve.shot.history import History
from fieldsolve.shot.instant import StoredInstant
from fieldsolve.shot.integrator.field_circuit import Circuit
from fieldsolve.shot.integrator.heating import HeatedMetal
from fieldsolve.shot.network import bank_places, coils_of, shot_system
from fieldsolve.shot.problem import CaseText, ShotProblem
from fieldsolve.shot.result import dimensions, estimates, kinematics, quantities
from fieldsolve.shot.result.energy_balance import EnergyBalance
from fieldsolve.shot.result.error_model import RunComparison
from fieldsolve.shot.result.kinematics import Departure, Profile
from fieldsolve.shot.result.metal_history import MetalHistory, MetalMap
from fieldsolve.shot.result.promises import shortfalls
from fieldsolve.shot.result.storage import save_shot
from fieldsolve.shot.result.stored_field import field_at
from geometries.cross_section import CrossSection
from geometries.mesh import Mesh

Progress = Callable[[float], None]


@dataclass(frozen=True, eq=False, kw_only=True)
class Shot:
    """What one discharge did; made by `solve_shot` and `load_shot`.

    It is data: it pickles, copies and is kept in a file, and reading it never steps a shot.  The `error` of an estimate bounds its
    numerical error, see `error_model.py`; it is infinite where no other run bounds it.

    problem        what was computed
    section        the parts, with the lines that the cells of flowing bodies keep to
    network        the circuit
    history        series over time
    energy         the energy balance over time
    instants       field and metal at every instant
    heated_metal   what turns enthalpy into temperature; None where nothing heats
    events         (seconds, sentence) of what switched, burst or ended
    fixed_parts    why a part that was to move was held still, by its name
    work           steps, rejected steps, stages, factorizations, mechanics passes, remeshes of the air
    unknowns       number of unknowns of the first field
    wall_time      seconds that the computation took
    interrupted    whether Ctrl-C or a failure ended it early
    stop_reason    why the motion of the metal ended it early; empty where it did not
    solver         the function that solves a refined problem
    comparisons    runs that bound the errors: the coarser companion, and the refined run from `refined`
    mesh_shortfall      what the mesh did not reach before its limit of unknowns; empty where it reached all
    companion_failure   why the coarser companion bounds nothing though bounds were wanted; empty where it does
    case           the case file it came from, or None
    companions     what else was computed of the same case for its rig's card: "held shot" and "coil inductance" (empty, henry)
    """

    problem: ShotProblem         # first: its functions that cannot be pickled are named before the circuit's
    section: CrossSection
    network: Circuit
    history: History
    energy: EnergyBalance
    instants: tuple[StoredInstant, ...]
    heated_metal: HeatedMetal | None
    events: tuple[tuple[float, str], ...]
    fixed_parts: Mapping[str, str]
    work: WorkCounts
    unknowns: int
    wall_time: float
    interrupted: bool
    stop_reason: str
    solver: Callable[[ShotProblem, Progress | None], Shot]
    comparisons: tuple[RunComparison, ...] = ()
    mesh_shortfall: str = ""
    companion_failure: str = ""
    case: CaseText | None = None
    companions: Mapping[str, Any] = field(default_factory=dict)

    __getattr__ = old_attributes("Shot")

    __repr__ = short_text
    _repr_html_ = summary_html
    summary = summary_text
    save, to_dataframe, dimensions = save_shot, data_frame, dimensions.body_dimensions
    quantities = property(series_units)

    plot_current, plot_body, plot_probes = drawings.plot_current, drawings.plot_body, drawings.plot_probes
    plot_force, plot_temperature, plot_energy = drawings.plot_force, drawings.plot_temperature, drawings.plot_energy
    plot_inductance, plot_sections, plot_shape = drawings.plot_inductance, drawings.plot_sections, drawings.plot_shape
    plot_metal, plot_map, plot_currents = drawings.plot_metal, drawings.plot_map, drawings.plot_currents
    animate, plot_dimensions, plot_blank = drawings.animate, drawings.plot_dimensions, drawings.plot_blank

    def __getstate__(self) -> dict:
        return declared_fields(self)

    @property
    def times(self) -> np.ndarray:
        """Instants of the shot in seconds; shape (k,)."""
        return self.history.times

    @property
    def accuracy(self) -> float:
        """The relative accuracy that determined steps and cells."""
        return self.problem.accuracy

    @property
    def steps(self) -> int:
        """Number of accepted steps."""
        return self.work.steps

    @property
    def method(self) -> str:
        """Name of the method in time."""
        return self.problem.method.name

    @property
    def remesh_count(self) -> int:
        """How often the air was meshed anew around moving metal."""
        return self.work.remeshes

    def series(self, quantity: str, place: str) -> np.ndarray:
        """A series over `times`: current, voltage, field, loop_voltage, power, radial_force, ...; places are parts, 'bank', 'bore', ..."""
        return self.history.series(quantity, place)

    def series_error(self, quantity: str, place: str) -> np.ndarray:
        """Error bound of a series at each of its `times`; (k,).  InputError where no bound is known."""
        return estimates.series_error(self, quantity, place)

    def peak(self, quantity: str, place: str) -> Estimate:
        """Largest magnitude of a series with its sign kept, and its time; `error` and `time_error` are their bounds."""
        return estimates.peak(self, quantity, place)

    def refined(self, progress: Progress | None = None) -> Shot:
        """This shot with tighter error bounds, from a run with about half as large cells and steps, which is computed now.

        Parameters
        ----------
        progress : callable, optional
            Called with the time in seconds after each step of the refined run.

        Returns
        -------
        Shot
            The same with the refined run among its `comparisons`; itself where it has one.

        Raises
        ------
        SolveError, KeyboardInterrupt
            Where the refined run fails or is interrupted: it then bounds nothing.
        """
        return self if any(comparison.finer for comparison in self.comparisons) else estimates.refine_shot(self, progress)

    def radius_ratio(self, name: str) -> Estimate:
        """Final over initial outer radius of a body; 1 while metal is held."""
        return estimates.radius_ratio(self, name)

    def thickness_ratio(self, name: str, at: str = "rim") -> Estimate:
        """Final over initial thickness of a body at 'axis', 'mid-radius' or 'rim' (mean over the outer tenth), of a tube at its 'waist'.

        1 while metal is held.
        """
        return estimates.thickness_ratio(self, name, at)

    @property
    def reversal(self) -> Estimate:
        """Largest reverse voltage of the first bank over its charge voltage."""
        return self.reversal_of(estimates.first_bank(self))

    def reversal_of(self, place: str) -> Estimate:
        """Largest reverse voltage of a bank over its charge voltage."""
        return estimates.estimate(self, lambda shot: quantities.reversal(shot, place), kind="V")

    @property
    def residual_voltages(self) -> dict[str, Estimate]:
        """Voltage left on each bank at the end, volt."""
        return {place: estimates.residual_voltage(self, place) for place in self.bank_places}

    def power_over_current(self, body: str) -> Estimate:
        """Heat power of a body over its net current at that current's peak, in volt: a mean over the body, less than round the rim."""
        return estimates.estimate(self, lambda shot: quantities.power_over_current(shot, body), "V", self.history.peak("current", body)[1])

    def impulse(self, name: str, direction: str = "radial") -> Estimate:
        """Integral of the 'radial' (inward negative) or 'axial' (down negative) force on a part over the shot in N s."""
        estimates.check_direction(direction)
        return estimates.estimate(self, lambda shot: quantities.impulse(shot, name, direction), "N s", kind="N")

    def action(self, name: str) -> Estimate:
        """Integral of the square of a coil's current over the shot in A^2 s."""
        return estimates.estimate(self, lambda shot: quantities.action(shot, name), "A^2 s", kind="A")

    def apparent_inductance(self) -> tuple[np.ndarray, np.ndarray]:
        """(times in s, henry) of the coils as the bank sees them, flux over current, where enough current flows."""
        return kinematics.flux_over_current(self)

    def burst(self, name: str) -> Burst | None:
        """A coil when its first turn reaches the least strain its metal breaks at: turn, energy, speed, mass; None if none does."""
        self.section.part(name)
        return self.metal.bursts(name)[0]

    def burst_time(self, name: str) -> Estimate | None:
        """The first of `burst_time_range`."""
        return self.burst_time_range(name)[0]

    def burst_time_range(self, name: str) -> tuple[Estimate | None, Estimate | None]:
        """When a coil's first turn reaches the least and the largest strain its metal breaks at; None where none does."""
        return estimates.burst_times(self, name)

    @property
    def validity_end(self) -> float | None:
        """Seconds from which on the shot is beyond the model, for the reason `validity_reason`; None where it stays within it."""
        return kinematics.validity_limit(self)[0]

    @property
    def validity_reason(self) -> str:
        """Why the shot is beyond the model: a turn of some coil may have burst, or its energy is no longer accounted for."""
        return kinematics.validity_limit(self)[1]

    @property
    def shortfalls(self) -> tuple[str, ...]:
        """A sentence for each promise that the shot did not keep, its energy balance and its end time among them; none: all are kept."""
        return shortfalls(self)

    @property
    def accuracy_reached(self) -> bool:
        """Whether the shot kept all its promises."""
        return not self.shortfalls

    @property
    def held(self) -> bool:
        """Whether all metal was held still."""
        return not self.problem.motions()[0]

    @property
    def metal(self) -> MetalHistory:
        """Temperature, plastic flow and bursts over time."""
        return MetalHistory(tuple(instant.metal for instant in self.instants), self.heated_metal)

    def metal_at(self, time: float) -> MetalMap:
        """Temperature, its plastic share, strain and its rate in the metal, at the stored instant nearest to `time` in seconds.

        Temperatures are means over cells; the series "temperature" is that of the hottest surface, which is above every mean.
        """
        k = kinematics.nearest_instant(self, time)
        return self.metal.map_at(k, float(self.times[k]), self.section, self.instants[k].mesh)

    def profile(self, name: str, time: float) -> Profile:
        """Outline and thickness of a part at any time of the shot."""
        return kinematics.section_profile(self, name, time)

    def at_frames(self, rate: float, place: str, quantity: str = "outer_radius", first: float = 0.0) -> tuple[np.ndarray, np.ndarray]:
        """(times in s, values) of a series at the frames of a camera of `rate` frames a second, the first at `first` in seconds."""
        return kinematics.sample_frames(self, rate, quantity, place, first)

    def departure(self, name: str, coil: str | None = None) -> Departure | None:
        """When the middle of a body passes an end face of a coil (the first of the circuit if None); None where it stays."""
        return kinematics.find_departure(self, name, coil or self.coils[0])

    def field_at(self, time: float) -> ShotField:
        """The field at any `time` of the shot in seconds; InputError outside it.  That of a stored instant is as it was solved.

        Between stored instants it is interpolated, see `field_between`.
        """
        kinematics.check_time(self, time)
        return field_at(self, time)

    def system_on(self, mesh: Mesh) -> EddySystem:
        """Matrices of the cold metal on a mesh of one of the instants."""
        return self._first_system if mesh is self.instants[0].mesh else shot_system(self.section, mesh, self.network)

    @cached_property
    def _first_system(self) -> EddySystem:
        return shot_system(self.section, self.instants[0].mesh, self.network)

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
