"""Explicit integration of turns over one interval under given forces and heat."""
from __future__ import annotations

import numpy as np

from fieldsolve.errors import MotionEnd
from fieldsolve.motion.constitutive.return_mapping import plastic_strain_increment
from fieldsolve.motion.constitutive.temperature import inverse_heat_capacity, temperature_from_enthalpy
from fieldsolve.motion.hoops.contact import SLACK, Contacts, gap_rates, gaps
from fieldsolve.motion.hoops.hoops import Burst, Hoops, HoopState, half_widths, hoop_strain
from fieldsolve.motion.interval import Advance, check_interval

MAX_PHASE_STEP = 0.05               # radian of the fastest radial oscillation of a hoop in a sub-step
MIN_SUBSTEPS = 2                 # sub-steps of an interval


def advance_hoops(hoops: Hoops, state: HoopState, forces: tuple[np.ndarray, np.ndarray], heating: np.ndarray | float,
                  duration: float) -> Advance:
    """The turns `duration` seconds later; `state` stays as it is, so that an interval can be tried again.

        m r'' = F_r - (s V + 2 pi r_0 k e)/r,    m z'' = F_z,    e = ln(r/r_0),    s' = E (e' - e'_plastic)

    with hoop stress s, volume V and the former's stiffness k, by velocity Verlet as in `advance_solid`.  Turns that come within their
    film of one another push each other without bouncing.

    forces    (at the start, at the end), each (turns, 2) N over the full circumference, straight in between; see `forces_on_hoops`
    heating   (turns,) W of ohmic heat
    Raises MotionEnd for a turn that shrinks onto the axis, SolveError for a force or heat that is not finite, InputError for a duration
    that is not positive.
    """
    check_interval("turns", state.time, duration, forces, heating, state, hoops)
    run = _HoopSubsteps(hoops, state, forces, np.broadcast_to(heating, hoops.mass.shape), duration)
    count = run.substeps()
    for _ in range(count):
        run.substep(duration / count)
    return run.result(count)


class _HoopSubsteps:
    """The running state of one interval; the names are those of `HoopState`."""

    def __init__(self, hoops: Hoops, state: HoopState, forces: tuple[np.ndarray, np.ndarray], heating: np.ndarray, duration: float):
        self.hoops, self.start, self.duration, self.elapsed, self.work = hoops, state, duration, 0.0, 0.0
        self.first_force, self.force_rate = forces[0], (forces[1] - forces[0]) / duration
        self.heating = heating / hoops.volume
        self.positions, self.velocities, self.stress = state.positions.copy(), state.velocities.copy(), state.stress
        self._last_gaps: tuple = (None, ())
        self._contacts_here: dict[bytes, Contacts] = {}
        self._pressing = np.zeros(len(hoops.pairs), dtype=bool)
        self.plastic_strain, self.strain_rate, self.enthalpy = state.plastic_strain, state.strain_rate, state.enthalpy
        self.former_holds, self.plastic_work = state.former_holds, state.plastic_work
        self.contact_loss, self.former_loss, self.bursts = state.contact_loss, state.former_loss, dict(state.bursts)
        self.temperature = temperature_from_enthalpy(hoops.heat_contents, state.enthalpy)
        self.inverse_heat_capacity = inverse_heat_capacity(hoops.heat_contents, state.enthalpy)
        self.applied_force, self.internal_force = self.first_force, self._internal_forces()

    def substeps(self) -> int:
        """Number of sub-steps that resolve every hoop's radial oscillation, omega^2 = (E V + 2 pi r_0 k)/(m r^2)."""
        hoops, r = self.hoops, self.positions[:, 0]
        former = 2 * np.pi * hoops.positions[:, 0] * hoops.former_stiffness
        omega = np.sqrt((hoops.stiffness * hoops.volume + former) / hoops.mass) / r
        return max(MIN_SUBSTEPS, int(np.ceil(self.duration * omega.max() / MAX_PHASE_STEP)))

    def substep(self, dt: float) -> None:
        """One sub-step; the energy lost in contacts makes the balance exact."""
        mass, before, kicked = self.hoops.mass[:, None], self.velocities, self._half_kick(dt)
        self.velocities, in_reach = self._resolve_contacts(kicked, dt)
        loss = 0.5 * (mass * (kicked**2 - self.velocities**2)).sum()
        loss -= 0.5 * dt * ((self.applied_force - self.internal_force) * (kicked - self.velocities)).sum()
        move = dt * self.velocities
        strain_before = hoop_strain(self.hoops, self.positions)
        self._update_stress(move, dt)
        self.elapsed += dt
        applied_force = self.first_force + self.elapsed * self.force_rate
        self.work += 0.5 * (move * (self.applied_force + applied_force)).sum()
        self.applied_force, self.internal_force = applied_force, self._internal_forces()
        kicked = self._half_kick(dt)
        self.velocities = self._resolve_contacts(kicked, None)[0] if in_reach else kicked
        self.contact_loss += loss + 0.5 * (mass * (kicked**2 - self.velocities**2)).sum()
        self._detect_breaks(strain_before, before, dt)

    def _half_kick(self, dt: float) -> np.ndarray:
        return self.velocities + 0.5 * dt * (self.applied_force - self.internal_force) / self.hoops.mass[:, None]

    def _resolve_contacts(self, velocities: np.ndarray, dt: float | None) -> tuple[np.ndarray, bool]:
        """Velocities after which no pair is nearer than its film `dt` later; without dt, with which no touching pair comes nearer.

        And whether any pair can touch in that time.
        """
        hoops = self.hoops
        gap, normal, widths = self._gaps()
        clearance = gap - (1 + SLACK) * hoops.film
        reach = 4 * dt * np.abs(velocities).max() if dt else 0.0
        close_pairs = clearance <= reach + SLACK * hoops.film
        if not close_pairs.any():
            return velocities, False
        min_rates = -clearance[close_pairs] / dt if dt else np.zeros(close_pairs.sum())
        contacts, speeds = self._contacts(close_pairs, normal, widths), velocities.ravel()
        if (contacts.rates @ speeds >= min_rates).all():
            return velocities, True
        changes, self._pressing[close_pairs] = contacts.velocity_changes(min_rates, speeds, self._pressing[close_pairs])
        return velocities + changes.reshape(-1, 2), True

    def _contacts(self, close_pairs: np.ndarray, normal: np.ndarray, widths: np.ndarray) -> Contacts:
        """Contacts of the close pairs, set up once for each place of the turns."""
        key = close_pairs.tobytes()
        if key not in self._contacts_here:
            rates = gap_rates(self.hoops.pairs[close_pairs], self.positions, normal[close_pairs], widths[close_pairs])
            self._contacts_here[key] = Contacts(rates, np.repeat(1 / self.hoops.mass, 2))
        return self._contacts_here[key]

    def _gaps(self) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """`gaps` of the turns where they are: at the end of a sub-step the same as at the start of the next."""
        at, found = self._last_gaps
        if at is not self.positions:
            found = gaps(self.hoops.pairs, self.positions, half_widths(self.hoops, self.positions), self.hoops.is_round)
            self._last_gaps, self._contacts_here = (self.positions, found), {}
        return found

    def _update_stress(self, move: np.ndarray, dt: float) -> None:
        """Hoop stress and heat after the turns have moved."""
        hoops, r = self.hoops, self.positions[:, 0]
        self.positions = self.positions + move
        if not (self.positions[:, 0] > half_widths(hoops, self.positions)[:, 0]).all():
            turn = (self.positions[:, 0] - hoops.rest_half_widths[:, 0]).argmin()
            raise MotionEnd(f"{hoops.names[turn]}: has shrunk onto the axis at t = {(self.start.time + self.elapsed) * 1e6:.3f} us; a "
                            "turn that is driven inwards so far is beyond the model, the states before this time hold")
        trial = self.stress + hoops.stiffness * move[:, 0] / (r + 0.5 * move[:, 0])
        increment = plastic_strain_increment(hoops.flow_stress, np.abs(trial), hoops.stiffness, self.plastic_strain,
                                             hoops.flow_stress.thermal_softening(self.temperature), dt, self.strain_rate * dt)
        before, self.stress = self.stress, trial - np.sign(trial) * hoops.stiffness * increment
        self.plastic_strain, self.strain_rate = self.plastic_strain + increment, increment / dt
        work = hoops.volume * 0.5 * (before + self.stress) * np.sign(trial) * increment
        self.plastic_work = self.plastic_work + work
        heat = hoops.taylor_quinney * work / hoops.volume + self.heating * dt
        self.enthalpy, self.temperature = self.enthalpy + heat, self.temperature + self.inverse_heat_capacity * heat

    def _internal_forces(self) -> np.ndarray:
        """Internal forces (turns, 2) in N of hoop stress and former."""
        hoops, r = self.hoops, self.positions[:, 0]
        former = 2 * np.pi * hoops.positions[:, 0] * hoops.former_stiffness * hoop_strain(hoops, self.positions) * self.former_holds
        return np.stack([(self.stress * hoops.volume + former) / r, np.zeros_like(r)], axis=1)

    def _detect_breaks(self, strain_before: np.ndarray, velocities_before: np.ndarray, dt: float) -> None:
        """Note where the former breaks, and when within the sub-step a coil's first turn passes its ductility."""
        hoops, strain = self.hoops, hoop_strain(self.hoops, self.positions)
        breaks = self.former_holds & (strain >= hoops.former_strain)
        if breaks.any():
            self.former_loss += (np.pi * hoops.positions[:, 0] * hoops.former_stiffness * strain**2)[breaks].sum()
            self.former_holds = self.former_holds & ~breaks
            self.internal_force = self._internal_forces()
        for limit, end in ((hoops.ductility[:, 0], 0), (hoops.ductility[:, 1], 1)):
            past = strain >= limit
            if not past.any():
                continue
            for k, coil in enumerate(hoops.coils):
                found = self.bursts[coil]
                turns = np.flatnonzero(past & (hoops.coil == k)) if found[end] is None else ()
                if len(turns):
                    share = (limit - strain_before)[turns] / (strain - strain_before)[turns]
                    burst = self._burst(k, turns[share.argmin()], max(share.min(), 0.0), velocities_before, dt)
                    self.bursts[coil] = (burst, found[1]) if end == 0 else (found[0], burst)

    def _burst(self, coil: int, turn: int, share: float, velocities_before: np.ndarray, dt: float) -> Burst:
        hoops, of_coil = self.hoops, self.hoops.coil == coil
        squared = (((1 - share) * velocities_before + share * self.velocities)[of_coil] ** 2).sum(axis=1)
        return Burst(time=float(self.start.time + self.elapsed - (1 - share) * dt), turn=hoops.names[turn],
                     kinetic_energy=float((hoops.mass[of_coil] * squared).sum() / 2), speed=float(np.sqrt(squared.max())),
                     mass=float(hoops.mass[of_coil].sum()))

    def result(self, count: int) -> Advance:
        """What the interval did."""
        state = HoopState(
            time=self.start.time + self.duration,
            positions=self.positions,
            velocities=self.velocities,
            stress=self.stress,
            plastic_strain=self.plastic_strain,
            strain_rate=self.strain_rate,
            enthalpy=self.enthalpy,
            former_holds=self.former_holds,
            plastic_work=self.plastic_work,
            contact_loss=float(self.contact_loss),
            former_loss=float(self.former_loss),
            bursts=self.bursts,
        )
        return Advance(state, float(self.work), self.hoops.taylor_quinney * (self.plastic_work - self.start.plastic_work), count)
