"""A transient field that is driven by prescribed currents or by a stepped outer field, without a circuit."""
from __future__ import annotations

import math
import warnings
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

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
from fieldsolve.field.transient.field import RefinedRun, ShotField
from fieldsolve.field.transient.integrate import build_stage_solver, integrate
from fieldsolve.field.transient.meshing import ShotMesh, mesh_at
from fieldsolve.ode import SDIRK2, Tableau, WorkCounts
from fieldsolve.pickling import check_importable, declared_fields
from fieldsolve.renamed import old_attributes
from geometries.cross_section import AxialStrip, CrossSection
from geometries.errors import AccuracyWarning, InputError, SolveError
from geometries.keywords import known_keywords
from geometries.mesher import mesh_section

REFINEMENT = 4.0            # of the accuracy, in a refined run: about twice as many cells across and half as long steps
HALVING_REDUCTION = 16.0               # reduction that halves the cells of metal that saturates, so that its front is sharp


@dataclass(frozen=True, eq=False, kw_only=True)
class TransientProblem:
    """The arguments of `solve_transient`, which says what each is."""

    section: CrossSection | AxialStrip
    times: tuple[float, ...]
    currents: Mapping[str, Callable[[float], float]]
    applied_field: float
    face_field: float | tuple[float, float]
    accuracy: float
    method: Tableau = SDIRK2
    linear_solver: str | LinearSolver | None = None

    def refined(self, count: int | None = None) -> TransientProblem:
        """The same field to a quarter of the accuracy, on a mesh and with steps of its own; at the first `count` instants only if given."""
        return replace(self, times=self.times[:count], accuracy=self.accuracy / REFINEMENT)

    def faces(self) -> dict[str, float]:
        """H_z in A/m by face of a strip, those alone where it is not zero."""
        faces = zip(("inner", "outer"), self.face_field if isinstance(self.face_field, tuple) else (0.0, self.face_field), strict=True)
        return {face: H for face, H in faces if H}

    def __repr__(self) -> str:
        return f"TransientProblem({len(self.section.parts)} parts, {len(self.times)} instants, accuracy {self.accuracy:g})"

    def __copy__(self) -> TransientProblem:
        return self

    def __deepcopy__(self, memo: dict) -> TransientProblem:
        return self

    def __getstate__(self) -> dict:
        for name, current in self.currents.items():
            check_importable(f"current of {name}", current)
        return declared_fields(self)


@dataclass(frozen=True, eq=False)
class TransientInstant:
    """A driven field at `time` in seconds: nodal u (n,) in T, its rate u_t (n,) in T/s, and ampere per turn by coil."""

    time: float
    u: np.ndarray
    u_t: np.ndarray
    currents: Mapping[str, float]

    def __repr__(self) -> str:
        return f"TransientInstant({self.time:.6g} s, {len(self.u)} nodes)"


@dataclass(frozen=True, eq=False)
class Transient:
    """A driven field at stored instants, from `solve_transient`; it pickles and copies, and reading it computes no field anew.

    problem      what was computed
    shot_mesh    the mesh and what is known of its accuracy
    system       matrices of the section on its mesh
    instants     the field at each instant reached
    work         steps, rejected steps, stages, factorizations
    interrupted  whether Ctrl-C or a failure ended it early
    reference    the refined run, from `refined`; None: no error bounds are known
    """

    problem: TransientProblem
    shot_mesh: ShotMesh
    system: EddySystem
    instants: tuple[TransientInstant, ...]
    work: WorkCounts
    interrupted: bool
    reference: Transient | None = None

    __getattr__ = old_attributes("Transient")

    @property
    def section(self) -> CrossSection | AxialStrip:
        """The parts."""
        return self.problem.section

    @property
    def times(self) -> np.ndarray:
        """Instants reached, in seconds."""
        return np.array([instant.time for instant in self.instants])

    @property
    def accuracy_reached(self) -> bool:
        """Whether the mesh is as accurate as requested at the frequency of the first instant, for all its goals."""
        return self.shot_mesh.accuracy_reached

    @property
    def steps(self) -> int:
        """Number of accepted steps."""
        return self.work.steps

    @property
    def method(self) -> str:
        """Name of the method in time."""
        return self.problem.method.name

    def field_at(self, time: float) -> ShotField:
        """The field at the stored instant nearest to `time` in seconds."""
        instant = min(self.instants, key=lambda instant: abs(instant.time - time))
        solution = NodalField(self.system.mesh, instant.u, self.problem.applied_field)
        return ShotField(time=instant.time, section=self.section, solution=solution, u_t=instant.u_t, system=self.system,
                         currents=dict(instant.currents),
                         compared=None if self.reference is None else (RefinedRun(), self.reference.field_at(time)))

    def refined(self) -> Transient:
        """The same field with error bounds: its differences from a refined run, which is computed now and kept as `reference`.

        Raises what `solve_transient` raises; KeyboardInterrupt where the refined run was interrupted.
        """
        if self.reference is not None:
            return self
        reference = solve_transient_problem(self.problem.refined(len(self.instants)))
        if reference.interrupted:
            raise KeyboardInterrupt("the refined run was interrupted: no error bounds are known")
        return replace(self, reference=reference)

    def __repr__(self) -> str:
        return (f"Transient({len(self.instants)} instants to {self.instants[-1].time:.6g} s, {self.system.mesh.size} unknowns, "
                f"{self.steps} steps{', interrupted' if self.interrupted else ''}, "
                f"{'no error bounds' if self.reference is None else 'error bounds from a refined run'})")


@known_keywords
def solve_transient(section: CrossSection | AxialStrip, *, times: Sequence[float], currents: Mapping[str, Waveform] | None = None,
                    applied_field: float = 0.0, face_field: float | tuple[float, float] = 0.0, accuracy: float = 1e-3,
                    method: Tableau = SDIRK2, linear_solver: str | LinearSolver | None = None) -> Transient:
    """Field of coils with prescribed currents, of a uniform field that is switched on, or of fields at a strip's faces, from t = 0 on.

    Ctrl-C ends it early with the instants reached, marked as interrupted.

    Parameters
    ----------
    section : CrossSection or AxialStrip
        The parts.
    times : sequence of float
        Instants in seconds, rising from above 0, at which the field is stored; the last ends the run.
    currents : mapping of str to callable or (times, values), optional
        Ampere per turn by coil: a function of time, or values at times that are joined by straight lines.
    applied_field : float, optional
        Uniform field along z in tesla, zero before t = 0; the metal keeps its (zero) flux at the step.
    face_field : float or pair of float, optional
        For a strip: tangential field H_z in A/m on the outer face, or (inner, outer), switched on at t = 0.
    accuracy : float, optional
        Relative, of the field's energy norm; it determines steps and cells.
    method : Tableau, optional
        The method in time, see `fieldsolve.ode`.
    linear_solver : str or LinearSolver, optional
        "cholmod", "superlu", or an object, see `LinearSolver`; default CHOLMOD where cvxopt is installed, else SuperLU.

    Returns
    -------
    Transient
        Its errors are infinite, for no bound is known, until `refined` has made a second run.

    Raises
    ------
    InputError
        For times or waveforms that do not rise or are not numbers, and where nothing drives the field.
    SolveError
        Where the field becomes no number; its `partial` is the run up to there.

    Warns
    -----
    AccuracyWarning
        Where the mesh is not as accurate as requested; the result says so too.

    Examples
    --------
    >>> import fieldsolve as fs, geometries as geo
    >>> disc = geo.disc(radius=15e-3, thickness=2e-3, material=fs.material("copper"))
    >>> run = solve_transient(geo.CrossSection([disc]), times=[10e-6, 100e-6], applied_field=1.0, accuracy=1e-2)
    >>> B_z = [float(run.field_at(time).flux_density(0.0, 0.0)[1]) for time in run.times]
    >>> 0 < B_z[0] < B_z[1] < 1
    True
    """
    waveforms = {name: waveform(name, current) for name, current in (currents or {}).items()}
    return solve_transient_problem(TransientProblem(section=section, times=tuple(increasing_times("times", times)), currents=waveforms,
                                          applied_field=applied_field, face_field=face_field, accuracy=accuracy, method=method,
                                          linear_solver=linear_solver))


def solve_transient_problem(problem: TransientProblem) -> Transient:
    """The field of a problem, as `solve_transient` describes it."""
    section, applied_field, waveforms, faces = problem.section, problem.applied_field, problem.currents, problem.faces()
    if not (waveforms or applied_field or faces):
        raise InputError("nothing drives the field: give currents=, applied_field= or, for a strip, face_field=")
    drive = HarmonicProblem(section, dict.fromkeys(waveforms, 1.0), {}, applied_field, faces)
    solver = choose_solver(problem.linear_solver)
    mesh = _mesh(drive, 1 / (2 * math.pi * problem.times[0]), problem.accuracy, solver)
    system = eddy_system(section, mesh.mesh, solver)
    load = _load_over_time(system, problem)
    start = _initial_field(system, applied_field, load(0.0))
    reached: list[tuple[np.ndarray, np.ndarray, WorkCounts]] = []

    def result(interrupted: bool) -> Transient:
        instants = tuple(TransientInstant(t, u, u_t, {name: current(t) for name, current in waveforms.items()})
                         for t, (u, u_t, _) in zip(problem.times[:len(reached)], reached, strict=True))
        return Transient(problem, mesh, system, instants, reached[-1][2] if reached else WorkCounts(), interrupted)
    try:
        for instant in integrate(build_stage_solver(system, applied_field), system, load, start, problem.times, problem.accuracy,
                                 problem.method):
            reached.append(instant)
    except KeyboardInterrupt:
        if not reached:
            raise
        return result(True)
    except SolveError as error:
        error.partial = result(True) if reached else None
        raise
    return result(False)


def _load_over_time(system: EddySystem, problem: TransientProblem) -> Callable[[float], np.ndarray]:
    """Load (n,) of the coils' currents, the uniform field and the faces' fields at a time."""
    mesh, waveforms = system.mesh, problem.currents
    loads = np.stack([system.load_of(name) for name in waveforms], axis=1) if waveforms else np.zeros((mesh.size, 0))
    steady_load = problem.applied_field * reluctivity_load(mesh, system.nu) if problem.applied_field else np.zeros(mesh.size)
    steady_load = steady_load + sum(H * face_load(mesh, face, 1.0) for face, H in problem.faces().items())
    return lambda time: steady_load + loads @ np.array([current(time) for current in waveforms.values()])


def _mesh(drive: HarmonicProblem, frequency: float, accuracy: float, solver: LinearSolver) -> ShotMesh:
    """Mesh for the first instant; where metal saturates its cells are halved, for a front goes through all of it.

    Raises InputError for metal that saturates but does not conduct.
    """
    section = drive.section
    for part in section.parts:
        if any(zone.material is not None and zone.material.bh_curve and not zone.material.conductivity for zone in part.zones):
            raise InputError(f"{part.name}: its metal saturates but does not conduct, which steps of fields do not follow: give it a "
                             "conductivity, or relative_permeability= in place of the curve")
    found = mesh_at(drive, frequency, accuracy, linear_solver=solver)
    if not found.accuracy_reached:
        warnings.warn(found.shortfall_message(), AccuracyWarning, stacklevel=5)
    saturable = has_bh_curve(section, found.mesh)
    if not saturable.any():
        return found
    sizes, _ = refined_sizes(found.mesh, saturable.astype(float), np.zeros(len(saturable)), HALVING_REDUCTION)
    return replace(found, mesh=mesh_section(section, sizes))


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
