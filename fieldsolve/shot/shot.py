"""One discharge of a capacitor bank into coil and disc: what a person asks for, and what comes of it."""
from __future__ import annotations

import time as clock
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cache, cached_property

import numpy as np
from scipy.interpolate import CubicHermiteSpline

from fieldsolve.circuit.bank import Bank, Crowbar, Leads
from fieldsolve.circuit.given_currents import GivenCurrents
from fieldsolve.estimate import Estimate
from fieldsolve.field.eddy_system import EddySystem, eddy_system
from fieldsolve.field.linear_solver import one_thread
from fieldsolve.field.solution import Solution
from fieldsolve.field.system import refuse_curves
from fieldsolve.motion.hoops import Former
from fieldsolve.motion.movement import Motion, movement
from fieldsolve.motion.usual import finer, largest_cells, usual_motions, with_grids
from fieldsolve.shot.coupled import Circuit
from fieldsolve.shot.discharge import Discharge
from fieldsolve.shot.drive import bank_places, coils_of, network_of, room_of, with_induced_voltages
from fieldsolve.shot.energy_balance import EnergyBalance, balance_of, integral, spline_integral
from fieldsolve.shot.heat import Heating
from fieldsolve.shot.history import UNITS, History
from fieldsolve.shot.meshing import shot_mesh
from fieldsolve.shot.probes import Probes, rims
from fieldsolve.shot.readings import readings_of, without_closed_turns
from fieldsolve.shot.shot_field import ShotField
from fieldsolve.shot.summary import html_of, summary_of
from geometries.cross_section import CrossSection
from geometries.errors import InputError, SolveError
from geometries.mesh import Mesh


@dataclass(frozen=True, eq=False)
class Shot:
    """What one discharge did; every error is the difference from a run with doubled cells and halved steps, made when first read."""

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
    ended: str                                                # why the metal's motion ended it before its time; "": it did not
    renewals: int                                             # how often the air's mesh was made new around moving metal
    build: Callable[[Mesh], EddySystem] = field(repr=False)   # the system of the cold metal on a mesh
    fields: tuple = field(repr=False)                         # (u, u_t, sigma, mesh) at each instant
    again: Callable[[], Shot] = field(repr=False)             # the finer run, made once
    held_parts: Mapping[str, str] = field(default_factory=dict)      # why a part that was to move was held still, by its name

    @property
    def times(self) -> np.ndarray:
        """Instants of the record in seconds."""
        return self.history.times

    def series(self, quantity: str, place: str) -> np.ndarray:
        """A series over `times`: current, voltage, field, loop_voltage, power, radial_force, ...; places are parts, 'bank', 'bore', ..."""
        return self.history.series(quantity, place)

    def series_error(self, quantity: str, place: str) -> np.ndarray:
        """Error of a series over `times`: its difference from that of the finer run, straight between its instants."""
        finer = self.again()
        return np.abs(self.series(quantity, place) - np.interp(self.times, finer.times, finer.series(quantity, place)))

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

    def burst_time(self, name: str) -> Estimate | None:
        """When a coil's first turn reaches the least strain its metal breaks at; None if none does, or the coil is held."""
        self.section.part(name)
        if ("burst_at", name) not in self.history.values or not self.series("burst_at", name)[-1] > 0:
            return None
        return self._estimate(lambda shot: shot.series("burst_at", name)[-1], "s")

    def field_at(self, time: float) -> ShotField:
        """The whole field at the stored instant nearest to `time` in seconds."""
        if not 0 <= time <= self.times[-1] * (1 + 1e-9):
            raise InputError(f"time = {time:g} s is outside the shot, which runs from 0 to {self.times[-1]:g} s")
        k = int(np.abs(self.times - time).argmin())
        currents = {name: float(self.series("current", name)[k]) for name in self.coils}
        return self._field(float(self.times[k]), *self.fields[k], currents)

    def _field(self, time: float, u, u_t, sigma, mesh: Mesh, currents: dict[str, float]) -> ShotField:
        system = (self.system if mesh is self.system.mesh else self.build(mesh)).with_conductivity(sigma)
        solution = Solution(mesh, u, self.network.applied_field)
        return ShotField(time, self.section, solution, u_t, system, currents, lambda: self.again()._between(time))

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
        return self._field(time, cubic(time), cubic(time, 1), before[2] + share * (after[2] - before[2]), before[3], currents)

    @property
    def held(self) -> bool:
        """Whether all metal stayed where it was."""
        return self.fields[0][3] is self.fields[-1][3]

    def summary(self) -> str:
        """One screen for a person in a workshop."""
        return summary_of(self)

    def _repr_html_(self) -> str:
        return html_of(self)

    def plot_current(self, measured=None, **options):
        """Draw the current of a coil, and over it a measured record, see `fieldsolve.plot_current`."""
        from fieldsolve.report.shot_figures import plot_current
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
        return self._estimate(lambda shot: spline_integral(shot.times, shot.series("radial_force", name))[-1], "N s")

    def action(self, name: str) -> Estimate:
        """Integral of the square of a coil's current over the shot in A^2 s."""
        def integrated(shot: Shot) -> float:
            current, rate = shot.series("current", name), shot.series("current_rate", name)
            return integral(shot.times, current**2, 2 * current * rate)[-1]
        return self._estimate(integrated, "A^2 s")

    def _estimate(self, figure: Callable[[Shot], float], unit: str = "", time: float | None = None) -> Estimate:
        value = float(figure(self))
        return Estimate(value, lambda: value - float(figure(self.again())), unit, time=time)


def solve_shot(section: CrossSection, bank: Bank | Sequence[Bank] | GivenCurrents, *, end_time: float,
               motion: bool | Mapping[str, Motion] = True, heating: bool = True,
               accuracy: float = 3e-3, circuit: Sequence[Sequence[str]] | None = None, leads: Leads | None = None,
               crowbar: Crowbar | None = None, progress: Callable[[float], None] | None = None, mesh_accuracy: float | None = None,
               step: float | None = None, mesh: Mesh | None = None, former: Former | None = None) -> Shot:
    """Fire the bank into the coils and step to `end_time`.

    bank           one Bank, or several across the same coil leads, each with its own gap and time; or GivenCurrents in their place
    end_time       seconds
    motion         True: bodies flow, turns stretch and burst, and what cannot is held, see `Shot.held_parts`; False: metal is held
                   still; or how bodies move, by name: AxialMotion, RadialMotion, GivenMotion, FlowMotion, HoopMotion; others are held
    heating        whether the metal heats and its resistivity rises with it
    accuracy       relative, of peak currents, the bore's peak field and the energies; steers step and cells
    circuit        branches in parallel, each a list of coil names in series; default: all solenoids, spirals and windings in series
    leads          resistance and inductance between bank and coils; crowbar  a switch across coil leads or capacitor
    progress       called with the time after each step; a KeyboardInterrupt ends the shot early and marks it
    mesh_accuracy  accuracy that steers the cells alone, where it is not that of the steps
    former         what the coils are wound on or cast in, of `motion=True`
    step, mesh     to see how results converge: steps of this many seconds between events, whatever their error; a mesh of one's own
    Raises InputError, GeometryError, MeshError, or SolveError whose `partial` is the shot up to where it failed, marked.
    """
    refuse_curves(section)
    started = clock.perf_counter()
    motions, held = usual_motions(section, former) if motion is True else (dict(motion or {}), {})
    section = with_grids(section, motions)
    network = network_of(section, bank, circuit, leads, crowbar, end_time)
    coils = coils_of(network)
    mesh = mesh or shot_mesh(section, network, mesh_accuracy or accuracy, room_of(section, motions, end_time),
                             largest_cells(section, motions))
    moves = movement(section, mesh, motions, end_time) if motions else None
    mesh = moves.now if moves else mesh
    bodies = tuple(part.name for part in section.parts if part.zones and _conducts(part) and part.name not in coils)

    def build(mesh: Mesh) -> EddySystem:
        return without_closed_turns(eddy_system(section, mesh), network)
    cold = build(mesh)
    heat_store = Heating(section, mesh, cold.metal_sigma, cold.strands.fill) if heating else None
    around = rims(section, mesh, bodies)
    probes = Probes(cold, bodies, coils, around)
    still = {name: points for name, points in probes.sections.items() if name not in motions}

    def read(model, value, slope, heat):
        here = Probes(model.system, bodies, coils, around, still, once=True) if moves else probes
        readings = readings_of(here, network, model, value, slope, heat) | (moves.readings() if moves else {})
        return readings | (heat_store.readings((*bodies, *coils)) if heat_store else {})
    run = Discharge(build, mesh, network, heat_store, moves, accuracy, end_time, read, progress or (lambda time: None), step)

    @cache
    def again() -> Shot:
        end = float(run.recorder.times[-1]) if run.interrupted or run.ended else end_time
        return solve_shot(section, bank, end_time=end or end_time, motion=finer(motions), heating=heating, accuracy=accuracy / 4,
                          circuit=circuit, leads=leads, crowbar=crowbar, mesh_accuracy=(mesh_accuracy or accuracy) / 4,
                          step=step and step / 2)

    def shot() -> Shot:
        history = History(run.recorder.times, run.recorder.series())
        history = with_induced_voltages(network, history) if moves and not network.banks else history
        balance = balance_of(network, history, (*bodies, *coils), tuple(motions), lambda: again().energy)
        return Shot(section, network, history, balance, accuracy, run.steps, clock.perf_counter() - started, mesh.size,
                    tuple((float(t), event) for t, event in run.events), run.interrupted, run.ended, moves.renewals if moves else 0, build,
                    run.recorder.fields, again, held)
    try:
        with one_thread():
            run.run()
    except SolveError as error:
        error.partial = shot() if run.recorder.instants else None
        raise
    return shot()


def _conducts(part) -> bool:
    return not part.stranded and all(zone.material is not None and zone.material.conductivity > 0 for zone in part.zones)
