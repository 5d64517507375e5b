"""A section of circles and rectangles in NGSolve: mesh, forms in the unknown r A_phi, solid turns, losses, forces.

Equations, with psi = r A_phi (flux through the ring of radius r is 2 pi psi), per radian:

    -div((nu / r) grad psi) = J,    J = sigma (V / (2 pi r) - d psi / dt / r)       in a solid turn of terminal voltage V
    psi = 0 on the axis,   d psi / dn = -psi / R on the arc of radius R: the far field of a dipole, psi ~ 1 / R

The next multipole makes that condition wrong by (size of the parts / R)^3; R is 40 times their size.
"""
from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from math import pi

import ngsolve as ng
import numpy as np
from netgen.occ import Glue, OCCGeometry, WorkPlane

MU_0 = 4e-7 * pi                # H/m, as in the SI before 2019; CODATA 2018 differs by 6e-10 of it
FAR = 40.0                      # radius of the arc over the size of the parts
ORDER = 4


@dataclass(frozen=True)
class Circle:
    """Round wire: centre (r, z) and radius in m."""

    r: float
    z: float
    radius: float

    def face(self):
        return WorkPlane().MoveTo(self.r, self.z).Circle(self.radius).Face()


@dataclass(frozen=True)
class Rectangle:
    """r and z from low to high in m."""

    r: tuple[float, float]
    z: tuple[float, float]

    def face(self):
        (r0, r1), (z0, z1) = self.r, self.z
        return WorkPlane().MoveTo(r0, z0).Rectangle(r1 - r0, z1 - z0).Face()


@dataclass(frozen=True)
class Conductor:
    """A body: its shape, conductivity in S/m, relative permeability, mesh size in m, and the size at its edges."""

    shape: Circle | Rectangle
    conductivity: float = 0.0
    relative_permeability: float = 1.0
    size: float = 1e-3
    edge_size: float | None = None


@dataclass(frozen=True, eq=False)
class Section:
    """Bodies in air, on a mesh of Netgen; `extent` is the size of the parts in m, `air_size` the mesh size between them."""

    bodies: dict[str, Conductor]
    extent: float
    air_size: float
    order: int = ORDER
    fields: dict = field(default_factory=dict, repr=False)

    @cached_property
    def mesh(self) -> ng.Mesh:
        far = FAR * self.extent
        half_disc = WorkPlane().Circle(far).Face() * WorkPlane().MoveTo(0, -far).Rectangle(far, 2 * far).Face()
        near = WorkPlane().Circle(2 * self.extent).Face() * half_disc
        faces = []
        for name, body in self.bodies.items():
            face = body.shape.face()
            face.faces.name = name
            face.faces.maxh = body.size
            face.edges.maxh = body.edge_size or body.size
            faces.append(face)
        near_air, far_air = near, half_disc - near
        for face in faces:
            near_air = near_air - face
        near_air.faces.name, far_air.faces.name = "air", "far_air"
        near_air.faces.maxh, far_air.faces.maxh = self.air_size, far / 8
        everything = Glue([*faces, near_air, far_air])
        for edge in everything.edges:
            ends = np.array([[point.x, point.y] for point in (edge.start, edge.end)])
            middle = np.array([edge.center.x, edge.center.y])                         # centre of mass: of an arc inside it
            if np.all(np.abs(ends[:, 0]) < 1e-9 * far) and abs(middle[0]) < 1e-9 * far:
                edge.name = "axis"
            elif np.all(np.abs(np.hypot(*ends.T) - far) < 1e-6 * far) and np.hypot(*middle) > far / 2:
                edge.name = "arc"
        mesh = ng.Mesh(OCCGeometry(everything, dim=2).GenerateMesh(maxh=far / 8, grading=0.25))
        mesh.Curve(self.order)
        return mesh

    def space(self, complex_valued: bool) -> ng.H1:
        return ng.H1(self.mesh, order=self.order, dirichlet="axis", complex=complex_valued)

    def by_body(self, value: Callable[[Conductor], float], otherwise: float) -> ng.CoefficientFunction:
        return self.mesh.MaterialCF({name: value(body) for name, body in self.bodies.items()}, default=otherwise)

    def curl_form(self, u, v):
        """(nu / r) grad u . grad v, and the far condition."""
        nu = 1 / (MU_0 * self.by_body(lambda body: body.relative_permeability, 1.0))
        far = FAR * self.extent
        return nu / ng.x * ng.grad(u) * ng.grad(v) * ng.dx + 1 / MU_0 / ng.x / far * u * v * ng.ds("arc")

    def conduction_form(self, u, v):
        """(sigma / r) u v."""
        return self.by_body(lambda body: body.conductivity, 0.0) / ng.x * u * v * ng.dx

    def drive(self, space: ng.H1, name: str) -> ng.LinearForm:
        """sigma v / (2 pi r) over a body: the load of one volt round it."""
        v = space.TestFunction()
        return ng.LinearForm(self.bodies[name].conductivity / (2 * pi * ng.x) * v * ng.dx(name)).Assemble()

    def conductance(self, name: str) -> float:
        """Of a solid turn: sigma / (2 pi) times the integral of 1 / r."""
        return ng.Integrate(self.bodies[name].conductivity / (2 * pi * ng.x) * ng.dx(name), self.mesh)


def flux_density(psi: ng.GridFunction, r: float, z: float) -> np.ndarray:
    """(B_r, B_z) in T at a point off the axis."""
    slope = ng.grad(psi)(psi.space.mesh(r, z))
    return np.array([-slope[1], slope[0]]) / r


def inverse(form: ng.BilinearForm, space: ng.H1):
    return form.mat.Inverse(space.FreeDofs(), inverse="sparsecholesky")


# --- at rest -----------------------------------------------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class StaticPeer:
    """A winding of even current density, one ampere-turn density per body: inductance in H, force on the winding in N, field."""

    section: Section
    psi: ng.GridFunction
    inductance: float
    force: float
    unknowns: int


def solve_static(section: Section, winding: str, turns: int, current: float) -> StaticPeer:
    """-div((nu / r) grad psi) = J with J = turns current / area over the winding."""
    space = section.space(False)
    u, v = space.TnT()
    form = ng.BilinearForm(section.curl_form(u, v), symmetric=True).Assemble()
    area = ng.Integrate(ng.CoefficientFunction(1.0) * ng.dx(winding), section.mesh)
    density = turns * current / area
    load = ng.LinearForm(density * v * ng.dx(winding)).Assemble()
    psi = ng.GridFunction(space)
    psi.vec.data = inverse(form, space) * load.vec
    linkage = 2 * pi * ng.Integrate(turns / area * psi * ng.dx(winding), section.mesh)
    force = 2 * pi * ng.Integrate(density * ng.grad(psi)[1] * ng.dx(winding), section.mesh)
    return StaticPeer(section, psi, linkage / current, force, space.ndof)


# --- at a frequency ----------------------------------------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class HarmonicPeer:
    """Solid turns in series that carry one current: impedance in ohm; loss in W and mean force in N by body; field as phasor."""

    impedance: complex
    losses: dict[str, float]
    forces: dict[str, float]
    psi: ng.GridFunction
    unknowns: int


def solve_harmonic(section: Section, turns: Sequence[str], current: float, frequency: float) -> HarmonicPeer:
    """Voltages of the turns from I_k = G_k V_k - j omega (sigma psi / r over turn k) = current; other bodies are closed rings, V = 0."""
    omega = 2 * pi * frequency
    space = section.space(True)
    u, v = space.TnT()
    form = ng.BilinearForm(section.curl_form(u, v) + 1j * omega * section.conduction_form(u, v), symmetric=True).Assemble()
    solve, loads = inverse(form, space), [section.drive(space, name) for name in turns]
    columns = []
    for load in loads:
        column = ng.GridFunction(space)
        column.vec.data = solve * load.vec
        columns.append(column)
    linkage = np.array([[2 * pi * _dot(load, column) for column in columns] for load in loads])
    admittance = np.diag([section.conductance(name) for name in turns]) - 1j * omega * linkage
    voltages = np.linalg.solve(admittance, np.full(len(turns), current, dtype=complex))
    psi = ng.GridFunction(space)
    psi.vec[:] = 0
    for voltage, column in zip(voltages, columns, strict=True):
        psi.vec.data += complex(voltage) * column.vec
    given = section.mesh.MaterialCF({name: complex(voltage) for name, voltage in zip(turns, voltages, strict=True)}, default=0)
    sigma = section.by_body(lambda body: body.conductivity, 0.0)
    density = sigma * (given / (2 * pi) - 1j * omega * psi) / ng.x
    losses = {name: ng.Integrate(pi * ng.x * ng.Norm(density)**2 / sigma * ng.dx(name, bonus_intorder=4), section.mesh).real
              for name, body in section.bodies.items() if body.conductivity}
    forces = {name: pi * ng.Integrate(density * ng.Conj(ng.grad(psi)[1]) * ng.dx(name, bonus_intorder=4), section.mesh).real
              for name in section.bodies}
    return HarmonicPeer(complex(voltages.sum() / current), losses, forces, psi, space.ndof)


def _dot(load: ng.LinearForm, column: ng.GridFunction) -> complex:
    """The load's functional of a field, without conjugation."""
    return complex(np.dot(load.vec.FV().NumPy(), column.vec.FV().NumPy()))


# --- with a bank -------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Bank:
    """A charged capacitor behind a resistance, an inductance and an arc of constant voltage."""

    capacitance: float
    voltage: float
    resistance: float
    inductance: float
    arc_voltage: float


@dataclass(frozen=True, eq=False)
class DischargePeer:
    """Times in s; current of the coil and of each closed ring in A."""

    times: np.ndarray
    current: np.ndarray
    rings: dict[str, np.ndarray]
    unknowns: int


def solve_discharge(section: Section, turns: Sequence[str], bank: Bank, end_time: float, steps: int) -> DischargePeer:
    """Backward Euler; the current must keep its sign until the end, for the arc's voltage is constant.

    K psi + M psi' = sum of V_k c_k,   I = G_k V_k - 2 pi c_k . psi',   L I' + R I + U_arc + sum of V_k = U,   C U' = -I
    """
    space = section.space(False)
    u, v = space.TnT()
    step = end_time / steps
    conduction = ng.BilinearForm(section.conduction_form(u, v), symmetric=True).Assemble().mat
    solve = inverse(ng.BilinearForm(section.curl_form(u, v) + 1 / step * section.conduction_form(u, v), symmetric=True).Assemble(), space)
    right, found = conduction.CreateColVector(), conduction.CreateColVector()
    loads = [section.drive(space, name).vec for name in turns]
    drive = np.array([load.FV().NumPy().copy() for load in loads])                          # (turns, unknowns)
    columns = np.array([_solved(solve, load, found) for load in loads])
    rings = {name: 2 * pi * section.drive(space, name).vec.FV().NumPy() for name, body in section.bodies.items()
             if body.conductivity and name not in turns}
    turn_matrix = np.diag([section.conductance(name) for name in turns]) - 2 * pi / step * drive @ columns.T
    psi, current, voltage = np.zeros(space.ndof), 0.0, bank.voltage
    currents, of_rings = [0.0], {name: [0.0] for name in rings}
    per_ampere = np.linalg.solve(turn_matrix, np.ones(len(turns)))
    loop = bank.inductance / step + bank.resistance + step / bank.capacitance + per_ampere.sum()
    for _ in range(steps):
        found.FV().NumPy()[:] = psi / step
        right.data = conduction * found
        alone = _solved(solve, right, found)                                                # the field if no voltage drove it
        constant = np.linalg.solve(turn_matrix, 2 * pi / step * drive @ (alone - psi))
        current = (voltage - bank.arc_voltage - constant.sum() + bank.inductance / step * current) / loop
        new = alone + (current * per_ampere + constant) @ columns
        voltage -= step * current / bank.capacitance
        currents.append(current)
        for name, functional in rings.items():
            of_rings[name].append(-float(functional @ (new - psi)) / step)
        psi = new
    return DischargePeer(np.linspace(0.0, end_time, steps + 1), np.array(currents),
                         {name: np.array(values) for name, values in of_rings.items()}, space.ndof)


def _solved(solve, load, found) -> np.ndarray:
    """Coefficients of the solution; `found` is overwritten."""
    found.data = solve * load
    return found.FV().NumPy().copy()
