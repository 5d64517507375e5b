"""A transient field that is driven by given currents or by a stepped outer field, without a circuit."""
from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cache

import numpy as np

from fieldsolve.circuit.prescribed_currents import Waveform, increasing_times, waveform
from fieldsolve.field.adaptivity.error_indicators import refined_sizes
from fieldsolve.field.fem.nodal_field import NodalField
from fieldsolve.field.harmonic.problem import HarmonicProblem
from fieldsolve.field.linear_algebra.solvers import LinearSolver, choose_solver, factorize
from fieldsolve.field.linear_algebra.symmetric import multiply_symmetric
from fieldsolve.field.system.coefficients import has_bh_curve
from fieldsolve.field.system.eddy_current import EddySystem, eddy_system
from fieldsolve.field.system.magnetostatic import face_load, reluctivity_load
from fieldsolve.field.transient.field import ShotField
from fieldsolve.field.transient.integrate import build_stage_solver, integrate
from fieldsolve.field.transient.meshing import mesh_at
from fieldsolve.ode import SDIRK2, Tableau, WorkCounts
from fieldsolve.renamed import old_attributes
from geometries.cross_section import AxialStrip, CrossSection
from geometries.errors import InputError, SolveError
from geometries.mesh import Mesh
from geometries.mesher import mesh_section

HALVING_REDUCTION = 16.0               # reduction that halves the cells of metal that saturates, so that its front is sharp


@dataclass(frozen=True, eq=False)
class Transient:
    """Stored instants of a driven field; `field_at` answers what a static solution answers."""

    section: CrossSection | AxialStrip
    times: np.ndarray
    work: WorkCounts
    method: str
    applied_field: float
    system: EddySystem = field(repr=False)
    interrupted: bool
    fields: tuple = field(repr=False)
    refined_run: Callable[[], Transient] = field(repr=False)

    __getattr__ = old_attributes("Transient")

    @property
    def steps(self) -> int:
        """Number of accepted steps."""
        return self.work.steps

    def field_at(self, time: float) -> ShotField:
        """The field at the stored instant nearest to `time` in seconds."""
        k = int(np.abs(self.times - time).argmin())
        u, u_t, currents = self.fields[k]
        solution = NodalField(self.system.mesh, u, self.applied_field)
        return ShotField(float(self.times[k]), self.section, solution, u_t, self.system, currents,
                         lambda: self.refined_run().field_at(time))


def solve_transient(section: CrossSection | AxialStrip, *, times: Sequence[float], currents: Mapping[str, Waveform] | None = None,
                    applied_field: float = 0.0, face_field: float | tuple[float, float] = 0.0, accuracy: float = 1e-3,
                    method: Tableau = SDIRK2, linear_solver: str | LinearSolver | None = None) -> Transient:
    """Field after t = 0 of coils with given currents, of a uniform field that is switched on, or of fields at a strip's faces.

    times          instants in seconds, rising, at which the field is stored; the last ends the run
    currents       ampere per turn by coil: a function of time, or (times, values) joined by straight lines
    applied_field  uniform field along z in tesla, zero before t = 0; the metal keeps its (zero) flux at the step
    face_field     for a strip: tangential field H_z in A/m on the outer face, or (inner, outer), switched on at t = 0
    method         in time, see `fieldsolve.ode.Tableau`
    linear_solver  "cholmod", "superlu", or an object, see `LinearSolver`; default CHOLMOD where cvxopt is installed, else SuperLU
    Ctrl-C ends it early with the instants reached, marked.  Raises InputError for times or waveforms that do not rise or are not numbers,
    SolveError, whose `partial` is the run up to there, where the field becomes no number.
    """
    times = increasing_times("times", times)
    waveforms = {name: waveform(name, current) for name, current in (currents or {}).items()}
    faces = dict(zip(("inner", "outer"), face_field if isinstance(face_field, tuple) else (0.0, face_field), strict=True))
    faces = {face: H for face, H in faces.items() if H}
    if not (waveforms or applied_field or faces):
        raise InputError("nothing drives the field: give currents=, applied_field= or, for a strip, face_field=")
    drive = HarmonicProblem(section, dict.fromkeys(waveforms, 1.0), {}, applied_field, faces)
    solver = choose_solver(linear_solver)
    mesh = _mesh(drive, 1 / (2 * math.pi * times[0]), accuracy, solver)
    system = eddy_system(section, mesh, solver)
    loads = np.stack([system.load_of(name) for name in waveforms], axis=1) if waveforms else np.zeros((mesh.size, 0))
    steady_load = applied_field * reluctivity_load(mesh, system.nu) if applied_field else np.zeros(mesh.size)
    steady_load = steady_load + sum(H * face_load(mesh, face, 1.0) for face, H in faces.items())

    def load(time: float) -> np.ndarray:
        return steady_load + loads @ np.array([current(time) for current in waveforms.values()])
    start = _initial_field(system, applied_field, load(0.0))
    reached = []

    @cache
    def refined_run() -> Transient:
        return solve_transient(section, times=times[:len(reached)], currents=currents, applied_field=applied_field, face_field=face_field,
                               accuracy=accuracy / 4, method=method, linear_solver=solver)

    def run(interrupted: bool) -> Transient:
        at = times[:len(reached)]
        stored = tuple((u, u_t, {name: current(t) for name, current in waveforms.items()})
                       for t, (u, u_t, _) in zip(at, reached, strict=True))
        work = reached[-1][2] if reached else WorkCounts()
        return Transient(section, np.array(at), work, method.name, applied_field, system, interrupted, stored, refined_run)
    try:
        for instant in integrate(build_stage_solver(system, applied_field), system, load, start, times, accuracy, method):
            reached.append(instant)
    except KeyboardInterrupt:
        if not reached:
            raise
        return run(True)
    except SolveError as error:
        error.partial = run(True) if reached else None
        raise
    return run(False)


def _mesh(drive: HarmonicProblem, frequency: float, accuracy: float, solver: LinearSolver) -> Mesh:
    """Mesh for the first instant; where metal saturates its cells are halved, for a front goes through all of it.

    Raises InputError for metal that saturates but does not conduct.
    """
    section = drive.section
    for part in section.parts:
        if any(zone.material is not None and zone.material.bh_curve and not zone.material.conductivity for zone in part.zones):
            raise InputError(f"{part.name}: its metal saturates but does not conduct, which steps of fields do not follow: give it a "
                             "conductivity, or relative_permeability= in place of the curve")
    mesh = mesh_at(drive, frequency, accuracy, linear_solver=solver)
    saturable = has_bh_curve(section, mesh)
    if not saturable.any():
        return mesh
    sizes, _ = refined_sizes(mesh, saturable.astype(float), np.zeros(len(saturable)), HALVING_REDUCTION)
    return mesh_section(section, sizes)


def _initial_field(system: EddySystem, applied_field: float, load: np.ndarray) -> np.ndarray:
    """Field just after t = 0: the whole u is still zero in metal, and air is at rest around it."""
    metal = np.unique(system.mesh.triangles[system.sigma > 0])
    u = np.zeros(system.mesh.size)
    u[metal] = -0.5 * applied_field
    air = np.setdiff1d(np.arange(system.mesh.size), metal)
    if len(air):
        load_of_air = (load - multiply_symmetric(system.stiffness, u))[air]
        u[air] = factorize(system.stiffness[air][:, air].tocsc(), solver=system.linear_solver).solve(load_of_air)
    return u
