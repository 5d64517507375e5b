"""Explicit integration of bodies over one interval under given forces and heat, in sub-steps below a sound wave's crossing time."""
from __future__ import annotations

import numpy as np

from fieldsolve.errors import MotionEnd
from fieldsolve.motion.constitutive.return_mapping import plastic_strain_increment
from fieldsolve.motion.constitutive.temperature import inverse_heat_capacity, temperature_from_enthalpy
from fieldsolve.motion.interval import Advance, check_interval
from fieldsolve.motion.plastic_flow.quad_elements import (
    characteristic_lengths,
    element_geometry,
    element_nodal_forces,
    evaluate_map,
    strain_increments,
    von_mises_stress,
)
from fieldsolve.motion.plastic_flow.solid import Solid, SolidState, as_complex, as_vectors, volume_strain

SAFETY = 0.9               # of the time that a wave takes to cross a cell
SUBSTEPS_PER_CHECK = 10                 # sub-steps between two updates of the cells' sizes and temperatures
MIN_SUBSTEP = 0.02            # of the sub-step at rest: below it the cells are too thin to go on with
LINEAR_VISCOSITY, QUADRATIC_VISCOSITY = 0.06, 1.2    # bulk viscosity where metal is compressed; common practice, no source


def advance_solid(solid: Solid, state: SolidState, forces: tuple[np.ndarray, np.ndarray], heating: np.ndarray | float,
                  duration: float) -> Advance:
    """The bodies `duration` seconds later; `state` stays as it is, so that an interval can be tried again.

    Each sub-step is one of velocity Verlet,

        v += f/(2 m) dt,   x += v dt,   stress and f at the new place,   v += f/(2 m) dt,

    and with it the work of every force F is `sum of v dt (F_before + F_after)/2`, which adds up to the change of kinetic energy.

    forces    (at the start, at the end), each (nodes, 2) N over the full circumference, straight in between
    heating   (cells,) W of ohmic heat
    Raises MotionEnd that names body, place and time where a cell turns inside out or becomes too thin to go on with and where a hole
    closes; SolveError for a force or heat that is not finite; InputError for a duration that is not positive.
    """
    check_interval("bodies", state.time, duration, forces, heating)
    run = _SolidSubsteps(solid, state, tuple(as_complex(f) for f in forces), np.broadcast_to(heating, solid.density.shape), duration)
    while run.elapsed < duration:
        count = run.substeps_left()
        dt = (duration - run.elapsed) / count
        for _ in range(min(count, SUBSTEPS_PER_CHECK)):
            run.substep(dt)
        run.elapsed = duration if count <= SUBSTEPS_PER_CHECK else run.elapsed
    return run.result()


class _SolidSubsteps:
    """The running state of one interval; the names are those of `SolidState`."""

    def __init__(self, solid: Solid, state: SolidState, forces: tuple[np.ndarray, np.ndarray], heating: np.ndarray, duration: float):
        self.solid, self.start, self.duration = solid, state, duration
        self.elapsed, self.count, self.work = 0.0, 0, 0.0
        self.first_force, self.force_rate = forces[0], (forces[1] - forces[0]) / duration
        self.heating = heating / solid.reference_geometry.volume
        self.positions, self.velocities = as_complex(state.positions).copy(), as_complex(state.velocities).copy()
        self.plane, self.hoop, self.viscous = state.plane, state.hoop, state.viscous
        self.plastic_strain, self.strain_rate, self.enthalpy = state.plastic_strain, state.strain_rate, state.enthalpy
        self.plastic_work, self.viscous_work = state.plastic_work, state.viscous_work
        self.von_mises_stress = von_mises_stress(self.plane, self.hoop)
        self.half_inverse_mass = 0.5 / solid.mass
        self.axis = np.flatnonzero(solid.mesh.on_axis)
        self.sound = np.sqrt((solid.bulk + 4 / 3 * solid.shear) / solid.density)
        self.shape = element_geometry(evaluate_map(self.positions, solid.corners))
        self.applied_force, self.internal_force = self.first_force, self._internal_forces()

    def substeps_left(self) -> int:
        """Number of equal sub-steps to the interval's end; temperatures and lengths are updated on the way."""
        self.temperature = temperature_from_enthalpy(self.solid.heat_contents, self.enthalpy)
        self.inverse_heat_capacity = inverse_heat_capacity(self.solid.heat_contents, self.enthalpy)
        time_scale = self.solid.mass_scaling.time_scale
        self.length = time_scale * characteristic_lengths(self.shape)
        crossing = self.length / self.sound
        if not crossing.min() > MIN_SUBSTEP * (time_scale * characteristic_lengths(self.solid.reference_geometry) / self.sound).min():
            thin = crossing.argmin()
            raise MotionEnd(
                f"{self._describe_cell(thin)}: the cell has become {self.length[thin] / time_scale[thin] * 1e6:.3g} um thin, less than "
                f"{MIN_SUBSTEP:g} of the thinnest at rest; metal has flowed there beyond what these cells can follow, the states "
                "before hold"
            )
        return int(np.ceil((self.duration - self.elapsed) / (SAFETY * crossing.min()) * (1 - 1e-12)))

    def substep(self, dt: float) -> None:
        """One sub-step of velocity Verlet."""
        self._kick(dt)
        move = dt * self.velocities
        self.positions += move
        self._update_stress(evaluate_map(move, self.solid.corners), dt)
        self.elapsed += dt
        self.count += 1
        applied_force = self.first_force + self.elapsed * self.force_rate
        self.work += 0.5 * np.vdot(move, self.applied_force + applied_force).real
        self.applied_force, self.internal_force = applied_force, self._internal_forces()
        self._kick(dt)

    def _kick(self, dt: float) -> None:
        acceleration = self.half_inverse_mass * (self.applied_force - self.internal_force)
        self.solid.mass_scaling.scale_accelerations(acceleration, self.solid.mass)
        self.velocities += dt * acceleration
        self.velocities.real[self.axis] = 0.0

    def _update_stress(self, move: np.ndarray, dt: float) -> None:
        """Stress, heat and viscous pressure after the nodes have moved."""
        solid, old = self.solid, self.shape
        new = element_geometry(old.maps + move)
        if not new.radius_and_jacobian.min() > 0 or self.positions.real.min() < 0:
            raise MotionEnd(self._end_reason(new.radius_and_jacobian.min(axis=(0, 1))))
        self.shape = new
        plane, hoop = strain_increments(old, new, move, solid.frame)
        self.plane, self.hoop = self.plane + 2 * solid.shear * plane, self.hoop + 2 * solid.shear * hoop
        self._return_to_flow_stress(dt)
        self._compress(old.volume, dt)

    def _return_to_flow_stress(self, dt: float) -> None:
        """Plastic flow: the stress shrinks until it is the flow stress (radial return); its work is that of the step's mean stress."""
        solid, trial = self.solid, von_mises_stress(self.plane, self.hoop)
        softening = solid.flow_stress.thermal_softening(self.temperature)
        increment = plastic_strain_increment(
            solid.flow_stress, trial, 3 * solid.shear, self.plastic_strain, softening, dt, self.strain_rate * dt
        )
        remaining = 1 - 3 * solid.shear * increment / np.maximum(trial, 1.0)
        self.plane, self.hoop = self.plane * remaining, self.hoop * remaining
        self.plastic_strain, self.strain_rate = self.plastic_strain + increment, increment / dt
        before, self.von_mises_stress = self.von_mises_stress, remaining * trial
        work = (self.shape.weights * (0.5 * (before + self.von_mises_stress)) * increment).sum(axis=0)
        self.plastic_work = self.plastic_work + work
        heat = solid.taylor_quinney * work / solid.reference_geometry.volume + self.heating * dt
        self.enthalpy, self.temperature = self.enthalpy + heat, self.temperature + self.inverse_heat_capacity * heat

    def _compress(self, old_volume: np.ndarray, dt: float) -> None:
        """Viscous pressure `density l (q l e'^2 + c |e'|)` where the volume strain rate e' is negative."""
        volume_change = self.shape.volume - old_volume
        compression_speed = np.maximum(-2 * volume_change / (dt * (self.shape.volume + old_volume)), 0.0) * self.length
        viscous = self.solid.density * compression_speed * (QUADRATIC_VISCOSITY * compression_speed + LINEAR_VISCOSITY * self.sound)
        self.viscous_work = self.viscous_work - 0.5 * (viscous + self.viscous) * volume_change
        self.viscous = viscous

    def _internal_forces(self) -> np.ndarray:
        """Internal forces (nodes,), complex, in N; K ln J/J is the mean stress of the energy K (ln J)^2/2."""
        strain = volume_strain(self.solid, self.shape)
        mean = self.solid.bulk * strain * np.exp(-strain) - self.viscous
        return self.solid.to_nodes(element_nodal_forces(self.shape, self.plane, self.hoop, mean, self.solid.frame))

    def _end_reason(self, radius_and_jacobian: np.ndarray) -> str:
        """Why the motion ends where a cell's radius or Jacobian is not positive or a node has crossed the axis."""
        node = self.positions.real.argmin()
        if self.positions[node].real < 0:
            cell = np.flatnonzero((self.solid.corners == node).any(axis=0))[0]
            return (f"{self._describe_cell(cell)}: the hole has closed there; metal that meets metal on the axis is beyond the model, "
                    "the states before this time hold")
        return f"{self._describe_cell(radius_and_jacobian.argmin())}: the cell has turned inside out; the states before this time hold"

    def _describe_cell(self, cell: int) -> str:
        place = self.shape.maps[:4, cell].mean()
        name, zone = self.solid.mesh.zones[self.solid.mesh.zone[cell]]
        return (f"{name}, zone {zone + 1}, cell {cell} at r = {place.real * 1e3:.3f} mm, z = {place.imag * 1e3:.3f} mm, "
                f"t = {(self.start.time + self.elapsed) * 1e6:.3f} us")

    def result(self) -> Advance:
        """What the interval did."""
        state = SolidState(
            time=self.start.time + self.duration,
            positions=as_vectors(self.positions),
            velocities=as_vectors(self.velocities),
            plane=self.plane,
            hoop=self.hoop,
            plastic_strain=self.plastic_strain,
            strain_rate=self.strain_rate,
            viscous=self.viscous,
            enthalpy=self.enthalpy,
            plastic_work=self.plastic_work,
            viscous_work=self.viscous_work,
        )
        heat = self.solid.taylor_quinney * (self.plastic_work - self.start.plastic_work)
        return Advance(state, float(self.work), heat, self.count)
