"""Fields at one frequency or at many as results: every quantity with its error bound."""
from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from fieldsolve.constants import MU_0
from fieldsolve.estimate import ComplexEstimate, Estimate
from fieldsolve.field import drawings
from fieldsolve.field.adaptivity.convergence import RefinementStep
from fieldsolve.field.adaptivity.mesh_pair import MeshPair
from fieldsolve.field.fem.nodal_field import NodalField
from fieldsolve.field.harmonic.solution import HarmonicSolution
from fieldsolve.field.quantities.force import checked_route
from fieldsolve.field.system.coefficients import is_magnetic
from geometries.cross_section import Section
from geometries.errors import InputError
from geometries.mesh import Mesh

EFFECTIVE = ("approximate: metal with a B-H curve by the effective reluctivity of a sinusoidal field, "
             "without harmonics and hysteresis")


@dataclass(frozen=True, eq=False, repr=False)
class HarmonicField:
    """The field at one frequency, solved on the last two meshes of the refinement (a `PlottableField`).

    Phasors are peak values with exp(+j omega t); powers and forces are time means.  The difference between the two meshes bounds
    the error of every reading.  The field is data: it pickles and copies, and no reading solves anything but `with_coil_alone`.

    frequency  in hertz
    solved     the solutions on both meshes
    """

    frequency: float
    solved: MeshPair[HarmonicSolution]

    plot = plot_map = drawings.plot_map
    plot_axis, plot_radius = drawings.plot_axis, drawings.plot_radius
    plot_line, plot_mesh, plot_currents = drawings.plot_line, drawings.plot_mesh, drawings.plot_currents

    def __repr__(self) -> str:
        reached = "reached" if self.accuracy_reached else "NOT reached"
        return (f"HarmonicField({self.frequency:.6g} Hz, {self.unknowns} unknowns, {self.meshes} meshes, accuracy {self.accuracy:g} "
                f"{reached}, {self.solver})")

    @property
    def fine(self) -> HarmonicSolution:
        """The solution on the finer mesh."""
        return self.solved.fine

    @property
    def accuracy(self) -> float:
        """The requested accuracy."""
        return self.solved.accuracy

    @property
    def accuracy_reached(self) -> bool:
        """Whether the error bound of every goal is within the accuracy, at the frequencies that steer the refinement."""
        return self.solved.accuracy_reached

    @property
    def meshes(self) -> int:
        """How many meshes were solved."""
        return self.solved.meshes

    @property
    def errors(self) -> dict[str, float]:
        """Error bound of each goal, by its name and in its unit; empty at a frequency that did not steer the refinement."""
        return self.solved.errors

    @property
    def convergence(self) -> tuple[RefinementStep, ...]:
        """Unknowns, goal values and error bounds of every mesh, the first one first.

        At a frequency that did not steer the refinement the goals are those at the frequencies that did, each named with its own.
        """
        return self.solved.convergence

    def plot_convergence(self, ax=None):
        """Draw the error bounds of the goals over the unknowns of the meshes; returns the axes.

        ax   matplotlib axes to draw on; None: new ones
        """
        from fieldsolve.report.plots.convergence import plot_convergence
        return plot_convergence(self, ax)

    @property
    def section(self) -> Section:
        """What was solved."""
        return self.fine.problem.section

    @property
    def mesh(self) -> Mesh:
        """The finer mesh."""
        return self.fine.mesh

    @property
    def solution(self) -> NodalField:
        """The field at the nodes of the finer mesh."""
        return self.fine.solution

    @property
    def unknowns(self) -> int:
        """Number of unknowns of the finer mesh."""
        return self.mesh.size

    @property
    def solver(self) -> str:
        """The iteration, and the linear solver behind it."""
        return f"GMRES with {self.fine.operator.factor_name}"

    @property
    def approximations(self) -> tuple[str, ...]:
        """What of its model is approximate, in words; the error bounds, which are of the mesh, do not include it."""
        curves = (zone.material and zone.material.bh_curve for part in self.section.parts for zone in part.zones)
        return (EFFECTIVE,) if any(curves) else ()

    @property
    def currents(self) -> dict[str, complex]:
        """Current in ampere per turn of every coil, closed ones included."""
        return self.fine.currents

    # ---- field ------------------------------------------------------------------------------------------------------

    def flux_density(self, r, z) -> tuple[np.ndarray, np.ndarray]:
        """Phasors B_r and B_z in tesla at points (r, z) in metres, anywhere in space; arrays of the points' shape."""
        return self.solution.flux_density(r, z)

    def flux_density_error(self, r, z) -> np.ndarray:
        """Error bound of B in tesla at points, from the length of the difference between the two meshes."""
        return self.solved.flux_density_error(r, z)

    def vector_potential(self, r, z) -> np.ndarray:
        """Phasor A_phi in Wb/m at points in metres."""
        return self.solution.vector_potential(r, z)

    def flux(self, r, z) -> np.ndarray:
        """Phasor of the flux 2 pi r A_phi in weber through the circle through each point."""
        return self.solution.flux(r, z)

    def current_density(self, r, z) -> np.ndarray:
        """Phasor J_phi in A/m^2 at points in metres, zero outside metal."""
        return self.fine.current_density(r, z)

    def magnetic_pressure(self, r, z) -> np.ndarray:
        """Time mean of B^2 / (2 mu_0) in pascal at points in metres."""
        return sum(np.abs(B) ** 2 for B in self.flux_density(r, z)) / (4 * MU_0)

    def peak_field(self, region: str = "bore") -> Estimate:
        """Largest |B| over the cycle in tesla in a bore or a part, with its place; InputError at a line current."""
        return self.solved.peak(region)

    def with_coil_alone(self, name: str) -> HarmonicField:
        """The same field with that of one coil alone, which is solved for on both meshes unless it is there.

        A change of impedance by other parts, and the force on a line current, compare with the coil alone.  Line currents and
        stranded windings whose change is a goal have been solved for alone; of a coil of solid turns, or with `goals=` that
        leave the change out, call this first.
        """
        self._coil(name)
        fine, coarse = (solution.with_coil_alone(name) for solution in (self.solved.fine, self.solved.coarse))
        return replace(self, solved=replace(self.solved, fine=fine, coarse=coarse))

    # ---- terminals --------------------------------------------------------------------------------------------------

    def resistance(self, name: str) -> Estimate:
        """Re(V / I) in ohm at a coil's terminals, as solved."""
        self._refuse_line(name, "resistance")
        return self.solved.estimate(lambda solved: solved.impedance(name).real, "ohm", f"resistance {name}")

    def inductance(self, name: str) -> Estimate:
        """Im(V / I) / omega in henry at a coil's terminals, as solved."""
        if self.section.part(name).filament:
            raise InputError(f"the inductance of {name}, a filament, is infinite: read inductance_change, or use ring(wire_diameter=)")
        return self.solved.estimate(lambda solved: solved.inductance(self._coil(name)), "H", f"inductance {name}")

    def resistance_change(self, name: str) -> Estimate:
        """Re(V / I) in ohm less that of the same coil alone, both on one mesh; finite for a loop, needs no fill.

        InputError where the coil was not solved for alone, see `with_coil_alone`.
        """
        return self.solved.estimate(lambda solved: solved.impedance_change(self._coil(name)).real, "ohm", f"resistance change {name}")

    def inductance_change(self, name: str) -> Estimate:
        """Im(V / I) / omega in henry less that of the same coil alone, both on one mesh; finite for a loop.

        InputError where the coil was not solved for alone, see `with_coil_alone`.
        """
        self._coil(name)
        return self.solved.estimate(lambda solved: solved.impedance_change(name).imag / solved.omega, "H", f"inductance change {name}")

    def mutual_inductance(self, one: str, other: str) -> ComplexEstimate:
        """Flux linkage of one coil per ampere in another in henry, complex: the metal's currents lag."""
        self._coil(one), self._coil(other)
        return self.solved.estimate(lambda solved: solved.mutual_inductance(one, other), "H")

    def voltage(self, name: str) -> ComplexEstimate:
        """Phasor of the terminal voltage of a coil in volt."""
        self._refuse_line(name, "voltage")
        return self.solved.estimate(lambda solved: solved.voltage(self._coil(name)), "V")

    # ---- metal ------------------------------------------------------------------------------------------------------

    def net_current(self, name: str, zone: str | None = None) -> ComplexEstimate:
        """Phasor of the current in ampere through a body's half section, positive along +phi; of a coil its current per turn."""
        number = self._zone(name, zone)
        return self.solved.estimate(lambda solved: solved.net_current(name, number), "A", f"current {name}" if zone is None else "")

    def loss(self, name: str, zone: str | None = None) -> Estimate:
        """Time mean of the ohmic heat of a part, or of one of its zones, in watt."""
        number = self._zone(name, zone)
        return self.solved.estimate(lambda solved: solved.loss(name, number), "W", f"loss {name}" if zone is None else "")

    def radial_force(self, name: str, route: str | None = None) -> Estimate:
        """Time mean of the integral of the radial force density in newton, inward negative; route as for `axial_force`."""
        return self._force(name, route, 0, "radial")

    def axial_force(self, name: str, route: str | None = None) -> Estimate:
        """Time mean of the axial force on a part in newton.

        route  'J x B' (default), or 'stress': Maxwell's stress over the air around (default for permeable metal)
        """
        return self._force(name, route, 1, "axial")

    def _force(self, name: str, route: str | None, component: int, word: str) -> Estimate:
        part = self.section.part(name)
        route = checked_route(route or ("stress" if is_magnetic(self.section, name) else "J x B"))
        if component == 0 and not part.zones:
            raise InputError(f"the radial force on {name}, a line current, is not finite: give the coil a wire")
        if route == "J x B" and is_magnetic(self.section, name):
            raise InputError(f"{name} is permeable: J x B leaves out the force on its magnetization; use route='stress'")
        method = HarmonicSolution.force if route == "J x B" else HarmonicSolution.force_by_stress
        return self.solved.estimate(lambda solved: method(solved, name)[component], "N", f"{word} force {name}")

    def dipole_moment(self) -> ComplexEstimate:
        """Phasor of the magnetic moment along z in A m^2 of all currents and of permeable metal."""
        return self.solved.estimate(lambda solved: solved.dipole_moment(), "A m^2", "dipole moment")

    def mean_flux_density(self, name: str) -> ComplexEstimate:
        """Phasor of the mean of B_z over the volume of a part in tesla."""
        self.section.part(name)
        return self.solved.estimate(lambda solved: solved.mean_flux_density(name), "T", f"mean {name}")

    # ---- checks -----------------------------------------------------------------------------------------------------

    def _coil(self, name: str) -> str:
        part = self.section.part(name)
        if not part.is_coil:
            raise InputError(f"{name} is a {part.shape}, not a coil: it has no terminals")
        return name

    def _refuse_line(self, name: str, word: str) -> None:
        if not self.section.part(self._coil(name)).zones:
            raise InputError(f"the {word} of {name}, a line current without section, is not defined: read resistance_change and "
                             "inductance_change, or give the coil a wire")

    def _zone(self, name: str, zone: str | None) -> int | None:
        names = [z.name for z in self.section.part(name).zones]
        if zone is not None and zone not in names:
            raise InputError(f"{name} has no zone {zone!r}: its zones are {', '.join(names)}")
        return None if zone is None else names.index(zone)


@dataclass(frozen=True, eq=False, repr=False)
class HarmonicSweep:
    """Fields at several frequencies on one pair of meshes: a sequence of HarmonicField in the order of the frequencies given."""

    fields: tuple[HarmonicField, ...]

    plot_impedance = drawings.plot_impedance

    def __repr__(self) -> str:
        ends = f"{self.frequencies.min():.6g} to {self.frequencies.max():.6g} Hz"
        return f"HarmonicSweep({len(self)} frequencies from {ends}, {self.fields[0].unknowns} unknowns)"

    @property
    def frequencies(self) -> np.ndarray:
        """Frequencies in hertz."""
        return np.array([field.frequency for field in self.fields])

    def __len__(self) -> int:
        return len(self.fields)

    def __iter__(self) -> Iterator[HarmonicField]:
        return iter(self.fields)

    def __getitem__(self, k: int) -> HarmonicField:
        return self.fields[k]
