"""A discharge through a reduced field, from event to event: gaps that close, arcs that turn round or go out, crowbars."""
from __future__ import annotations

import math
from dataclasses import dataclass, field, replace

import numpy as np

from fieldsolve.circuit.equations import CONDUCTING, EXTINGUISHED, OPEN, Network, Switches
from fieldsolve.field.reduced.projection import ReducedField
from fieldsolve.shot.integrator.zero_crossings import MIN_VALUE, monitored_indices
from fieldsolve.shot.reduced.phase import CircuitAndField, LoopEquations, Phase
from fieldsolve.shot.reduced.separate_circuits import SeparateCircuits
from geometries.errors import SolveError

INSTANTS = 160              # over the whole time, at least
INSTANTS_PER_PERIOD = 40    # of what rings fastest
AFTER_EVENT = 8             # instants within the first of these steps after an event, each half as late as the next
LOOK_AHEAD = 250            # instants that are evaluated before zeros are looked for
FAINT = 1e-7                # of the largest share in a current: what rings with less is not followed
MAX_EVENTS = 20_000
DUE = 1e-9                  # of the time: what is to switch this soon switches now
AT_ONCE = 1e-6              # of the time between two instants: so long after an event its first rates are read
ROOT_STEPS, ROOT_TOLERANCE = 60, 1e-13      # of Newton's method; of the time


@dataclass(frozen=True, eq=False)
class Segment:
    """A phase from a time in seconds on, with its modes' components there, and (k,) instants at which to look at it, its end the last."""

    start: float
    phase: Phase
    components: np.ndarray
    instants: np.ndarray


@dataclass(frozen=True, eq=False)
class Trajectory:
    """What a discharge did: segments in order of time, and (seconds, sentence) of what switched."""

    system: CircuitAndField
    segments: tuple[Segment, ...]
    events: tuple[tuple[float, str], ...]

    @property
    def times(self) -> np.ndarray:
        """Instants in seconds from 0 on, those of the events among them, close enough to draw the discharge; (k,)."""
        return np.concatenate([[0.0], *(segment.instants for segment in self.segments)])

    def at(self, times: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Unknowns of circuit and field (k, x + p) and their rates at times (k,) in order; at an event those just before it."""
        number = np.searchsorted([segment.start for segment in self.segments[1:]], times, side="left")
        found = [segment.phase.at(segment.components, times[number == k] - segment.start)
                 for k, segment in enumerate(self.segments) if (number == k).any()]
        value, slope = (np.concatenate(part) for part in zip(*found, strict=True))
        return self.system.with_lead_voltages(value, slope), slope


@dataclass(eq=False)
class _Run:
    """A discharge as it goes on: the switches, the unknowns, and what has happened."""

    system: CircuitAndField
    end_time: float
    switches: Switches
    value: np.ndarray
    time: float = 0.0
    segments: list[Segment] = field(default_factory=list)
    events: list[tuple[float, str]] = field(default_factory=list)
    known: dict[tuple, LoopEquations] = field(default_factory=dict)

    @property
    def network(self) -> Network | SeparateCircuits:
        """The circuit."""
        return self.system.network

    def phase_of(self, switches: Switches) -> Phase:
        """The phase of switches as they stand; arcs that only turn round leave the equations as they are."""
        key = tuple(arc == CONDUCTING for arc in switches.arcs), switches.crowbar
        if key not in self.known:
            self.known[key] = self.system.equations(switches)
        return self.system.phase(self.known[key], switches)

    def advance(self) -> None:
        """Go to the next event or the end, or as far as is looked ahead."""
        phase, limit = self.phase_of(self.switches), self._next_switch_time()
        start = phase.start(self.value)
        after = self._instants(phase, start, limit - self.time)
        crossing = self._first_zero(phase, start, after)
        if crossing is not None:
            after = np.append(after[after < crossing[0]], crossing[0])
        self.segments.append(Segment(self.time, phase, start, self.time + after[1:]))
        self.value = phase.at(start, after[-1:])[0][0]
        self.time = limit if crossing is None and after[-1] == limit - self.time else self.time + float(after[-1])
        if crossing is None:
            self._fire_due()
        else:
            self._switch_at_zero(crossing[1])

    def _instants(self, phase: Phase, start: np.ndarray, span: float) -> np.ndarray:
        """Seconds after the start at which the phase is evaluated: zero, more closely at first, and to the end or LOOK_AHEAD ahead."""
        ringing = phase.ringing(start, FAINT)
        step = min(self.end_time / INSTANTS, 2 * math.pi / (INSTANTS_PER_PERIOD * ringing) if ringing else math.inf)
        count = max(2, math.ceil(span / step))
        even = np.linspace(0, span, count + 1) if count <= LOOK_AHEAD else np.arange(LOOK_AHEAD + 1) * (span / count)
        just_switched = not self.events or self.events[-1][0] == self.time
        early = even[1] * 0.5 ** np.arange(AFTER_EVENT if just_switched else 0, 0, -1)
        return np.concatenate([[0.0], early, even[1:]])

    def _next_switch_time(self) -> float:
        times = [bank.fires_at for bank, arc in zip(self.network.banks, self.switches.arcs, strict=True) if arc == OPEN]
        crowbar = self.network.crowbar
        if crowbar is not None and not self.switches.crowbar and crowbar.fires_at is not None:
            times.append(crowbar.fires_at)
        return min([t for t in times if t > self.time * (1 + 1e-12)] + [self.end_time])

    def _first_zero(self, phase: Phase, start: np.ndarray, after: np.ndarray) -> tuple[float, int] | None:
        """Earliest zero at which something switches: (seconds after the start, index of the unknown); None if there is none."""
        found, indices = [], monitored_indices(self.network, self.switches)
        for index, series in zip(indices, phase.unknowns_at(start, after, indices)[0].T, strict=True):
            large = np.abs(series) > MIN_VALUE * np.abs(series).max()
            crosses = np.flatnonzero(large[:-1] & (series[:-1] * series[1:] <= 0))
            if len(crosses):
                k = int(crosses[0])
                guess = after[k] + (after[k + 1] - after[k]) * series[k] / (series[k] - series[k + 1])
                found.append((_newton_root(phase, start, index, guess, (after[k], after[k + 1]), series[k] < 0), index))
        return min(found) if found else None

    # ---- switches, by the rules of `shot/integrator/switching.py` ---------------------------------------------------

    def settle_first_arcs(self) -> None:
        """Signs of the arcs that burn from t = 0: of several banks the one at lower voltage may take current from the others at once."""
        if len(self.network.banks) < 2:
            return
        for k, arc in enumerate(self.switches.arcs):
            if arc == CONDUCTING and not self._over_gap(k) > self.network.banks[k].arc_voltage:
                self._set_arc_sign(k)

    def _fire_due(self) -> None:
        now = self.time * (1 + DUE)
        for k, bank in enumerate(self.network.banks):
            if self.switches.arcs[k] == OPEN and bank.fires_at <= now:
                self.switches = self.switches.with_arc(k, CONDUCTING, 1.0)
                self._note(f"gap of {self._bank_name(k)} closes")
                self._set_arc_sign(k)
        crowbar = self.network.crowbar
        if crowbar is not None and not self.switches.crowbar and crowbar.fires_at is not None and crowbar.fires_at <= now:
            self._fire_crowbar("crowbar fires")

    def _switch_at_zero(self, index: int) -> None:
        if index < len(self.network.banks):
            self._fire_crowbar("bank voltage is zero: crowbar fires")
            return
        self.value[index] = 0.0
        self._set_arc_sign(index - len(self.network.banks))

    def _fire_crowbar(self, event: str) -> None:
        self.switches = replace(self.switches, crowbar=True)
        self._note(event)
        for k, bank in enumerate(self.network.banks):               # without inductance a current may turn round in no time
            if bank.inductance == 0 and self.switches.arcs[k] == CONDUCTING:
                self.value[self.network.bank_current_index(k)] = 0.0
                self._set_arc_sign(k)

    def _set_arc_sign(self, k: int) -> None:
        """Let bank k's arc carry the current that its open gap's voltage drives, or put it out."""
        over_gap = self._over_gap(k)
        if abs(over_gap) > self.network.banks[k].arc_voltage:
            self.switches = self.switches.with_arc(k, CONDUCTING, math.copysign(1.0, over_gap))
            direction = "flows from its positive side" if over_gap > 0 else "reverses"
            self._note(f"current of {self._bank_name(k)} {direction}")
        else:
            self.switches = self.switches.with_arc(k, EXTINGUISHED, 1.0)
            self._note(f"arc of {self._bank_name(k)} goes out")

    def _over_gap(self, k: int) -> float:
        """Volts over the gap of bank k were it open, positive from the bank's positive side."""
        phase = self.phase_of(self.switches.with_arc(k, EXTINGUISHED, 1.0))
        rates = phase.rates_at_once(self.value, AT_ONCE * self.end_time / INSTANTS)
        number = next(n for n, (_, places) in enumerate(self.system.networks) if self.network.bank_voltage_index(k) in places)
        return float(self.value[self.network.bank_voltage_index(k)] - self.system.lead_voltage(number, self.value, rates))

    def _note(self, event: str) -> None:
        self.events.append((self.time, event))

    def _bank_name(self, k: int) -> str:
        return "the bank" if len(self.network.banks) == 1 else self.network.bank_names[k]


def discharge(network: Network | SeparateCircuits, reduced: ReducedField, resistance: np.ndarray, end_time: float) -> Trajectory:
    """Discharge banks through a reduced field to an end time in seconds.

    resistance  (coils,) of the coils to direct current in ohm
    """
    system = CircuitAndField(network, reduced, resistance)
    states = tuple(CONDUCTING if bank.fires_at == 0 else OPEN for bank in network.banks)
    run = _Run(system=system, end_time=end_time, switches=Switches(states, tuple(1.0 for _ in states), False),
               value=np.concatenate([network.initial_state(), np.zeros(reduced.states)]))
    run.settle_first_arcs()
    while run.time < end_time * (1 - 1e-12):
        run.advance()
        if len(run.events) > MAX_EVENTS:
            raise SolveError(f"more than {MAX_EVENTS} switches by {run.time:.6g} s: banks ring against each other; give them resistance or "
                             "a shorter end_time")
    return Trajectory(system, tuple(run.segments), tuple(run.events))


def _newton_root(phase: Phase, start: np.ndarray, index: int, guess: float, bracket: tuple[float, float], rises: bool) -> float:
    """Zero of an unknown within a bracket in seconds after the start: Newton's method, halving where a step would leave it."""
    (low, high), time = bracket, guess
    for _ in range(ROOT_STEPS):
        value, slope = (float(of[0, 0]) for of in phase.unknowns_at(start, np.array([time]), [index]))
        low, high = (time, high) if (value < 0) == rises else (low, time)
        following = time - value / slope if slope else low
        following = following if low <= following <= high else 0.5 * (low + high)
        if abs(following - time) <= ROOT_TOLERANCE * bracket[1]:
            break
        time = following
    return following
