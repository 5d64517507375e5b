"""Prescribed fields as problems for the solver, and how far what it finds is off."""
from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

import fieldsolve as fs
import geometries as geo
from benchmarks.manufactured import solution
from benchmarks.manufactured.rectangle import SIDE, body_radii, rectangle
from benchmarks.manufactured.sources import (
    SourceCircuit,
    Sources,
    density_load,
    interpolated_sources,
    source_load,
    with_sources,
)
from fieldsolve.constants import NU_0
from fieldsolve.field.fem.quadrature import gauss_points
from fieldsolve.field.fem.reference_triangle import rule_of_forms
from fieldsolve.field.linear_algebra.solvers import factorize
from fieldsolve.field.system.bordered_operator import conduction_product
from fieldsolve.field.system.eddy_current import EddySystem, eddy_system
from fieldsolve.field.system.prescribed_reluctivity import PrescribedReluctivity
from fieldsolve.materials.material import Material
from fieldsolve.motion.contract import NO_ENERGY, Body, MotionEnergy
from fieldsolve.motion.movement import build_movement
from fieldsolve.ode import Tableau
from fieldsolve.shot.integrator.discharge import Discharge
from fieldsolve.shot.integrator.heating import Heating
from geometries.cross_section import AxialStrip, CrossSection
from geometries.mesh import AIR, Mesh
from geometries.parts import Part

PERMEABLE = fs.Material(name="permeable metal", conductivity=2e7, relative_permeability=3.0)
COEFFICIENT, DENSITY, HEAT_CAPACITY = 4e-3, 8900.0, 385.0           # 1/K, kg/m^3, J/(kg K)
METAL = fs.Material(name="metal", conductivity=5e7, density=DENSITY, heat_capacity=HEAT_CAPACITY, temperature_coefficient=COEFFICIENT)
HEATED = solution.HeatedMetal(METAL.conductivity, COEFFICIENT / (DENSITY * HEAT_CAPACITY))
ORDERS = (2, 3, 4)                  # of the elements
VACUUM = solution.Reluctivity(lambda r, z: np.full_like(r, NU_0))


@dataclass(frozen=True)
class Errors:
    """Relative errors in the mean square: of u with the weight r^3, of B with r, and of the heat in J/m^3 where there is any."""

    u: float
    B: float
    heat: float | None = None


def strip_of(inner_radius: float, *metals: Material) -> AxialStrip:
    """A strip of SIDE with parts `inner` and `outer` of two metals, each half as wide."""
    middle = inner_radius + 0.5 * SIDE
    return AxialStrip([_ring("inner", inner_radius, middle, SIDE, metals[0]), _ring("outer", middle, inner_radius + SIDE, SIDE, metals[1])],
                      inner_radius=inner_radius)


def body_of(inner_radius: float) -> CrossSection:
    """The body in the middle of the rectangle that has air around it."""
    return CrossSection([_ring("body", *body_radii(inner_radius), 0.5 * SIDE, METAL)])


def _ring(name: str, inner: float, outer: float, length: float, metal: Material) -> Part:
    if inner == 0:
        return geo.cylinder(radius=outer, length=length, at=0.5 * SIDE, material=metal, name=name)
    return geo.tube(inner_radius=inner, wall=outer - inner, length=length, at=0.5 * SIDE, material=metal, name=name)


def errors_of(mesh: Mesh, u: np.ndarray, factor: float = 1.0) -> Errors:
    """Errors of a nodal field against `factor` times the prescribed one."""
    points = gauss_points(mesh, np.arange(len(mesh.triangles)), rule_of_forms(mesh.order))
    r, z, dA = points.r, points.z, points.dA
    exact, (B_r, B_z) = solution.shape(r, z)[0], solution.flux_density(r, z)
    found_r, found_z = points.flux_density(u / factor)
    missed = (found_r - B_r) ** 2 + (found_z - B_z) ** 2
    return Errors(_relative(r**3 * dA, (points.values_of(u / factor) - exact) ** 2, exact**2), _relative(r * dA, missed, B_r**2 + B_z**2))


def _relative(weight: np.ndarray, square: np.ndarray, scale: np.ndarray) -> float:
    return float(np.sqrt((weight * square).sum() / (weight * scale).sum()))


# ---- at rest in time --------------------------------------------------------------------------------------------------------------


def static_errors(inner_radius: float, order: int, cells: int) -> Errors:
    """A static field in metal whose reluctivity varies from place to place; off the axis the outer face has its values given."""
    mesh = rectangle(inner_radius, cells, order, ("inner", "outer"))
    nu = solution.smooth_reluctivity(0.3 * NU_0)
    points = gauss_points(mesh, np.arange(len(mesh.triangles)), rule_of_forms(order))
    system = eddy_system(strip_of(inner_radius, METAL, METAL), mesh)
    system = system.with_reluctivity((PrescribedReluctivity(points, nu.value(points.r, points.z)),))
    exact, load = solution.shape(*mesh.nodes.T)[0], source_load(mesh, {1: nu, 2: nu})
    free = mesh.nodes[:, 0] < inner_radius + SIDE * (1 - 1e-9) if inner_radius else np.ones(mesh.size, dtype=bool)
    u = np.where(free, 0.0, exact)
    matrix = system.full_stiffness
    u[free] = factorize(system.stiffness[free][:, free].tocsc()).solve((load - matrix @ u)[free])
    return errors_of(mesh, u)


# ---- in time ----------------------------------------------------------------------------------------------------------------------


def time_errors(inner_radius: float, method: Tableau, cells: int, steps: int) -> Errors:
    """A held field in two metals whose loads are those of the discrete field itself: what is missed is missed by the method in time."""
    mesh = rectangle(inner_radius, cells, 2, ("inner", "outer"))
    system = eddy_system(strip_of(inner_radius, PERMEABLE, METAL), mesh)
    discrete = solution.shape(*mesh.nodes.T)[0]
    loads = np.stack([system.full_stiffness @ discrete, conduction_product(system, discrete)], axis=1)
    sources = Sources(loads, lambda time: np.array([solution.growth(time), solution.growth_rate(time)]))
    u = _run(lambda mesh: system, mesh, sources, method, steps).value[:mesh.size] / solution.growth(solution.END_TIME)
    points = gauss_points(mesh, np.arange(len(mesh.triangles)))
    missed, scale = (sum(np.square(B) for B in points.flux_density(of)) for of in (u - discrete, discrete))
    weight = points.r**3 * points.dA
    return Errors(_relative(weight, points.values_of(u - discrete) ** 2, points.values_of(discrete) ** 2),
                  _relative(points.r * points.dA, missed, scale))


def held_errors(inner_radius: float, method: Tableau, cells: int, steps: int) -> Errors:
    """A field in two metals of other permeability and conductivity, held still and cold."""
    mesh = rectangle(inner_radius, cells, 2, ("inner", "outer"))
    system = eddy_system(strip_of(inner_radius, PERMEABLE, METAL), mesh)
    nu = {k + 1: _constant(NU_0 / metal.relative_permeability) for k, metal in enumerate((PERMEABLE, METAL))}
    steady = source_load(mesh, nu)
    induced = sum(density_load(mesh, np.flatnonzero(mesh.region == k + 1), lambda r, z, metal=metal: metal.conductivity * r
                               * solution.shape(r, z)[0]) for k, metal in enumerate((PERMEABLE, METAL)))
    sources = Sources(np.stack([steady, induced], axis=1), lambda time: np.array([solution.growth(time), solution.growth_rate(time)]))
    return errors_of(mesh, _run(lambda mesh: system, mesh, sources, method, steps).value[:mesh.size], solution.growth(solution.END_TIME))


def varying_errors(inner_radius: float, method: Tableau, cells: int, steps: int) -> Errors:
    """A field in metal held still whose conductivity varies from place to place, one value a triangle as the solver has it."""
    def sigma(r, z):
        return METAL.conductivity * (0.6 + 0.4 * np.sin((2 * r + z) / SIDE))
    mesh = rectangle(inner_radius, cells, 2, ("inner", "outer"))
    system = eddy_system(strip_of(inner_radius, METAL, METAL), mesh)
    system = system.with_conductivity(sigma(*mesh.corners.mean(axis=1).T))
    steady = source_load(mesh, {1: VACUUM, 2: VACUUM})
    induced = density_load(mesh, np.arange(len(mesh.triangles)), lambda r, z: sigma(r, z) * r * solution.shape(r, z)[0])
    sources = Sources(np.stack([steady, induced], axis=1), lambda time: np.array([solution.growth(time), solution.growth_rate(time)]))
    return errors_of(mesh, _run(lambda mesh: system, mesh, sources, method, steps).value[:mesh.size], solution.growth(solution.END_TIME))


def heated_errors(inner_radius: float, method: Tableau, cells: int, steps: int) -> Errors:
    """A field in metal that its currents heat, so that its conductivity falls; around it is air."""
    mesh, section = rectangle(inner_radius, cells, 2, ("body",)), body_of(inner_radius)
    system, metal = eddy_system(section, mesh), np.flatnonzero(mesh.region == 1)
    heating = Heating(section, mesh, system.metal_conductivity)
    steady = source_load(mesh, {1: VACUUM, AIR: VACUUM})

    def load(time):
        def induced(r, z):
            return -HEATED.hot_conductivity(r, z, time) * solution.electric_field(r, z, time, moves=False)
        return solution.growth(time) * steady + density_load(mesh, metal, induced)
    state = _run(lambda mesh: system, mesh, interpolated_sources(load, solution.END_TIME), method, steps, heating=heating)
    errors = errors_of(mesh, state.value[:mesh.size], solution.growth(solution.END_TIME))
    points = gauss_points(mesh, metal, rule_of_forms(mesh.order))
    ring, exact = points.r * points.dA, HEATED.enthalpy(points.r, points.z, solution.END_TIME)
    mean = (ring * exact).sum(axis=1) / ring.sum(axis=1)
    return replace(errors, heat=_relative(ring.sum(axis=1), (heating.enthalpy[metal] - mean) ** 2, mean**2))


@dataclass(frozen=True)
class PrescribedStretch:
    """A body that moves by r = s(t) R, z = Z / s(t)^2, whatever acts on it."""

    mass: float = 1.0

    @dataclass(frozen=True)
    class State:
        """Nothing but the time moves it."""

        energy: MotionEnergy = NO_ENERGY
        heat: float = 0.0

    def initial_state(self, body: Body) -> State:
        """At rest."""
        return self.State()

    def positions(self, body: Body, state: State, time: float) -> np.ndarray:
        """Places (k, 2) of the body's nodes in m."""
        s = solution.stretch(time)
        return body.initial_positions * [s, s**-2]

    def advance(self, body, state, time, length, before, after, heat=0.0) -> State:
        """The same."""
        return state

    def observables(self, state: State) -> dict[str, float]:
        """None."""
        return {}


def moving_errors(inner_radius: float, method: Tableau, cells: int, steps: int) -> Errors:
    """A field at rest in space that grows in time, in metal that moves through it; the air around it follows."""
    section = body_of(inner_radius)
    movement = build_movement(section, rectangle(inner_radius, cells, 2, ("body",)), {"body": PrescribedStretch()}, solution.END_TIME)
    first, body = movement.current_mesh, movement.bodies[0]
    metal = np.flatnonzero(first.region == 1)

    def mesh_at(time):
        nodes = first.nodes[:movement.mesh.kept_count].copy()
        nodes[body.nodes] = PrescribedStretch().positions(body, None, time)
        return movement.mesh.deformed(nodes)

    def load(time):
        mesh = mesh_at(time)
        return (solution.growth(time) * source_load(mesh, {1: VACUUM, AIR: VACUUM})
                + density_load(mesh, metal, lambda r, z: -METAL.conductivity * solution.electric_field(r, z, time, moves=True)))
    sources = interpolated_sources(load, solution.END_TIME)
    state = _run(lambda mesh: eddy_system(section, mesh), first, sources, method, steps, movement=movement)
    return errors_of(state.system.mesh, state.value[:first.size], solution.growth(solution.END_TIME))


def _constant(nu: float) -> solution.Reluctivity:
    return solution.Reluctivity(lambda r, z: np.full_like(r, nu))


def _run(build: Callable[[Mesh], EddySystem], mesh: Mesh, sources: Sources, method: Tableau, steps: int, **metal):
    """The state at the end of a discharge of the sources in equal steps; nothing may have shortened it."""
    run = Discharge(build=lambda mesh: with_sources(build(mesh), sources), mesh=mesh, network=SourceCircuit(sources), accuracy=1e-3,
                    end_time=solution.END_TIME, observe=lambda *arguments: {}, step=solution.END_TIME / steps, method=method,
                    **{"heating": None, "movement": None, **metal})
    state = run.run()
    if state.stop_reason or run.steps != steps or state.work.remeshes:
        raise RuntimeError(f"{run.steps} steps, {state.work.remeshes} meshes: {state.stop_reason or 'not as prescribed'}")
    return state
