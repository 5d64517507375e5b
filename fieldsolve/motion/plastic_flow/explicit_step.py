"""Explicit integration of bodies over one interval under given forces and heat, in sub-steps below a sound wave's crossing time."""
from __future__ import annotations

import numpy as np

from fieldsolve.errors import MotionEnd
from fieldsolve.motion.constitutive.return_mapping import SUBSTEP_TOLERANCE, plastic_strain_increment
from fieldsolve.motion.constitutive.temperature import inverse_heat_capacity, temperature_from_enthalpy
from fieldsolve.motion.interval import Advance, check_interval
from fieldsolve.motion.plastic_flow.compiled_substeps import compiled_substeps
from fieldsolve.motion.plastic_flow.moving_cells import MovingCells
from fieldsolve.motion.plastic_flow.quad_elements import characteristic_lengths, von_mises_stress
from fieldsolve.motion.plastic_flow.solid import Solid, SolidState, as_complex, as_vectors

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
    check_interval("bodies", state.time, duration, forces, heating, state, solid, solid.mesh, solid.mass_scaling)
    run = _SolidSubsteps(solid, state, tuple(as_complex(f) for f in forces), np.broadcast_to(heating, solid.density.shape), duration)
    while run.elapsed < duration:
        count = run.substeps_left()
        dt = (duration - run.elapsed) / count
        run.advance(min(count, SUBSTEPS_PER_CHECK), dt)
        run.elapsed = duration if count <= SUBSTEPS_PER_CHECK else run.elapsed
    return run.result()


class _SolidSubsteps:
    """The running state of one interval; the names are those of `SolidState`."""

    def __init__(self, solid: Solid, state: SolidState, forces: tuple[np.ndarray, np.ndarray], heating: np.ndarray, duration: float):
        self.solid, self.start, self.duration = solid, state, duration
        self.elapsed, self.count, self.work = 0.0, 0, 0.0
        self.first_force, self.force_rate = forces[0], (forces[1] - forces[0]) / duration
        self.heating = heating / solid.reference_geometry.volume
        self.heat_share = solid.taylor_quinney / solid.reference_geometry.volume
        self.positions, self.velocities = as_complex(state.positions).copy(), as_complex(state.velocities).copy()
        self.axis = np.flatnonzero(solid.mesh.on_axis)
        self.velocities.real[self.axis] = 0.0
        self.normal, self.shear, self.hoop = state.plane.real.copy(), state.plane.imag.copy(), state.hoop.copy()
        self.plastic_strain, self.strain_rate, self.enthalpy = state.plastic_strain.copy(), state.strain_rate.copy(), state.enthalpy.copy()
        self.viscous, self.plastic_work, self.viscous_work = state.viscous.copy(), state.plastic_work.copy(), state.viscous_work.copy()
        self.von_mises_stress = von_mises_stress(state.plane, self.hoop)
        self.inverse_mass = 1 / solid.mass
        self.twice_shear, self.return_stiffness = 2 * solid.shear, 3 * solid.shear
        self.sound = solid.sound
        self.cells = MovingCells(solid, self.positions)
        self.acceleration = self._acceleration(self.first_force)
        self.compiled = compiled_substeps(solid, (LINEAR_VISCOSITY, QUADRATIC_VISCOSITY))

    def substeps_left(self) -> int:
        """Number of equal sub-steps to the interval's end; temperatures and lengths are updated on the way."""
        self.temperature = temperature_from_enthalpy(self.solid.heat_contents, self.enthalpy)
        self.inverse_heat_capacity = inverse_heat_capacity(self.solid.heat_contents, self.enthalpy)
        time_scale = self.solid.mass_scaling.time_scale
        self.length = time_scale * characteristic_lengths(self.cells.geometry)
        crossing = self.length / self.sound
        if not crossing.min() > MIN_SUBSTEP * self.solid.least_crossing:
            thin = crossing.argmin()
            raise MotionEnd(
                f"{self._describe_cell(thin)}: the cell has become {self.length[thin] / time_scale[thin] * 1e6:.3g} um thin, less than "
                f"{MIN_SUBSTEP:g} of the thinnest at rest; metal has flowed there beyond what these cells can follow, the states "
                "before hold"
            )
        return int(np.ceil((self.duration - self.elapsed) / (SAFETY * crossing.min()) * (1 - 1e-12)))

    def advance(self, count: int, dt: float) -> None:
        """`count` sub-steps, in compiled form where there is one."""
        if self.compiled is None:
            for _ in range(count):
                self.substep(dt)
        elif not self.compiled.advance(self, count, dt):
            self._end()

    def substep(self, dt: float) -> None:
        """One sub-step of velocity Verlet."""
        self.velocities += 0.5 * dt * self.acceleration
        move = dt * self.velocities
        self.positions += move
        smallest = self.cells.move(move)
        if not smallest > 0 or self.positions.real.min() < 0:
            self._end()
        self._update_stress(dt)
        middle_force = self.first_force + (self.elapsed + 0.5 * dt) * self.force_rate
        self.work += np.vdot(move, middle_force).real
        self.elapsed += dt
        self.count += 1
        self.acceleration = self._acceleration(self.first_force + self.elapsed * self.force_rate)
        self.velocities += 0.5 * dt * self.acceleration

    def _acceleration(self, applied_force: np.ndarray) -> np.ndarray:
        """Accelerations (nodes,) in m/s^2; `K ln J/J` is the mean stress of the energy `K (ln J)^2/2`."""
        stretch = self.cells.volume / self.solid.reference_geometry.volume
        mean = self.solid.bulk * np.log(stretch) / stretch - self.viscous
        acceleration = applied_force - self.cells.nodal_forces(self.normal, self.shear, self.hoop, mean)
        acceleration *= self.inverse_mass
        self.solid.mass_scaling.scale_accelerations(acceleration, self.solid.mass)
        acceleration.real[self.axis] = 0.0
        return acceleration

    def _update_stress(self, dt: float) -> None:
        """Stress, heat and viscous pressure after the cells have moved: the trial stress, then its return to the flow stress."""
        normal, shear, hoop = self.cells.strain_increments()
        normal *= self.twice_shear
        shear *= self.twice_shear
        hoop *= self.twice_shear
        self.normal += normal
        self.shear += shear
        self.hoop += hoop
        self._return_to_flow_stress(dt)
        self._compress(dt)

    def _return_to_flow_stress(self, dt: float) -> None:
        """Plastic flow: the stress shrinks until it is the flow stress (radial return); its work is that of the step's mean stress.

        Where metal flows already, the return takes away nearly all by which the trial stress is beyond the last one: its first guess.
        """
        solid, before, trial = self.solid, self.von_mises_stress, self._trial_stress()
        guess = (trial - before) / self.return_stiffness
        guess *= self.strain_rate > 0
        increment = plastic_strain_increment(
            solid.flow_stress, trial, self.return_stiffness, self.plastic_strain, solid.flow_stress.thermal_softening(self.temperature),
            dt, guess, SUBSTEP_TOLERANCE
        )
        self.strain_rate = increment / dt
        if increment.any():
            self.plastic_strain += increment
            self._shrink_stress(trial, increment)
        else:
            self.von_mises_stress = trial
        work = (before + self.von_mises_stress) * increment
        work *= self.cells.weights
        work = 0.5 * work.sum(axis=0)
        self.plastic_work += work
        heat = self.heat_share * work + self.heating * dt
        self.enthalpy += heat
        self.temperature += self.inverse_heat_capacity * heat

    def _trial_stress(self) -> np.ndarray:
        """Equivalent stress of von Mises as it is now, in Pa."""
        squared = self.normal * self.normal
        squared += self.shear * self.shear
        squared *= 4 / 3
        squared += self.hoop * self.hoop
        return 1.5 * np.sqrt(squared, out=squared)

    def _shrink_stress(self, trial: np.ndarray, increment: np.ndarray) -> None:
        """Take the deviator back by an increment of plastic strain."""
        remaining = 1 - self.return_stiffness * increment / np.maximum(trial, 1.0)
        for part in (self.normal, self.shear, self.hoop):
            part *= remaining
        self.von_mises_stress = np.multiply(remaining, trial, out=trial)

    def _compress(self, dt: float) -> None:
        """Viscous pressure `density l (q l e'^2 + c |e'|)` where the volume strain rate e' is negative."""
        volume_change = self.cells.volume - self.cells.volume_before
        rate = volume_change / (self.cells.volume + self.cells.volume_before)
        compression_speed = np.maximum(rate * (-2 / dt), 0.0) * self.length
        viscous = self.solid.density * compression_speed * (QUADRATIC_VISCOSITY * compression_speed + LINEAR_VISCOSITY * self.sound)
        self.viscous_work -= 0.5 * (viscous + self.viscous) * volume_change
        self.viscous = viscous

    def _end(self) -> None:
        """Raise MotionEnd where a cell's radius or Jacobian is not positive or a node has crossed the axis."""
        node = self.positions.real.argmin()
        if self.positions[node].real < 0:
            cell = np.flatnonzero((self.solid.corners == node).any(axis=0))[0]
            raise MotionEnd(f"{self._describe_cell(cell)}: the hole has closed there; metal that meets metal on the axis is beyond the "
                            "model, the states before this time hold")
        cell = self.cells.geometry.radius_and_jacobian.min(axis=(0, 1)).argmin()
        raise MotionEnd(f"{self._describe_cell(cell)}: the cell has turned inside out; the states before this time hold")

    def _describe_cell(self, cell: int) -> str:
        place = self.cells.maps[:4, cell].mean()
        name, zone = self.solid.mesh.zones[self.solid.mesh.zone[cell]]
        return (f"{name}, zone {zone + 1}, cell {cell} at r = {place.real * 1e3:.3f} mm, z = {place.imag * 1e3:.3f} mm, "
                f"t = {(self.start.time + self.elapsed) * 1e6:.3f} us")

    def result(self) -> Advance:
        """What the interval did."""
        state = SolidState(
            time=self.start.time + self.duration,
            positions=as_vectors(self.positions),
            velocities=as_vectors(self.velocities),
            plane=self.normal + 1j * self.shear,
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
