"""Timings of fields and shots, one row each, and of a reference solver at the same problem.

Each row is measured in a process of its own, so that nothing is kept from the row before and the
largest memory is that of the row.
"""
from __future__ import annotations

import math
import resource
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field

import numpy as np

import fieldsolve as fs
import geometries as geo
from benchmarks.shot_stages import stages_timed

PER_SCALE = 2650            # unknowns of the section at the mesher's first guess; they grow as 1 / scale^2
FREQUENCY = 1000.0          # Hz
END_TIME = 60e-6            # seconds of the shots
STAGES = ("mesh", "assembly", "analysis", "factor", "solve", "quantities")


@dataclass
class Clock:
    """Seconds of processor time by stage."""

    seconds: dict[str, float] = field(default_factory=dict)

    @contextmanager
    def __call__(self, stage: str) -> Iterator[None]:
        start = time.process_time()
        yield
        self.seconds[stage] = self.seconds.get(stage, 0.0) + time.process_time() - start


@dataclass(frozen=True)
class Row:
    """One field.

    seconds       of processor time by stage;  second_solve  with the pattern kept
    memory        largest, GB;  inductance  H, for the comparison of both solvers
    reference     seconds of the reference solver by stage; empty where it did not run
    """

    unknowns: int
    seconds: dict[str, float]
    second_solve: float
    memory: float
    inductance: complex
    reference: dict[str, float] = field(default_factory=dict)

    @property
    def first_solve(self) -> float:
        """Seconds from a mesh to the field."""
        return sum(self.seconds[stage] for stage in ("assembly", "analysis", "factor", "solve"))


def section() -> geo.CrossSection:
    """A stranded coil of 8 turns around an aluminium disc of 30 mm, of the size of the contract's."""
    coil = geo.winding(inner_radius=16e-3, outer_radius=20e-3, height=26e-3, turns=8, name="coil")
    return geo.CrossSection([coil, geo.disc(radius=15e-3, thickness=2e-3, material=fs.material("aluminium 1100-O"), name="disc")])


def mesh_of_size(unknowns: int):
    """Mesh of about as many unknowns."""
    from geometries.mesher import mesh_section
    return mesh_section(section(), scale=math.sqrt(PER_SCALE / unknowns))


# ---- rows, each run in a process of its own ----------------------------------------------------------------------


def time_static(unknowns: int) -> Row:
    """A field at rest: one ampere in the coil."""
    from fieldsolve.field.linear_algebra.elimination_order import factorize_on_mesh
    from fieldsolve.field.static.solution import StaticProblem, StaticSolution
    from fieldsolve.field.system import coefficients, magnetostatic
    from fieldsolve.field.system.conductors import unit_current_load
    rig, clock = section(), Clock()
    with clock("mesh"):
        mesh = mesh_of_size(unknowns)
    nu = coefficients.linear_reluctivity(rig, mesh)

    def assemble():
        return magnetostatic.stiffness(mesh, nu), unit_current_load(mesh, rig.part("coil"))

    def solve(factor, load):
        return factor.solve(load)

    def evaluate_goals(factor, load, u):
        solution = StaticSolution(problem=StaticProblem(rig, {"coil": 1.0}), mesh=mesh, nu=nu, factor=factor,
                                  unit_loads={"coil": load}, unit_fields={"coil": u}, body_field=np.zeros_like(u))
        solution.peak("bore"), solution.axial_force("coil"), solution.energy()
        solution.solution.flux_density(np.zeros(200), np.linspace(-20e-3, 20e-3, 200))
        return solution.inductance("coil", "coil")

    return _time_stages(
        clock,
        mesh.size,
        assemble,
        lambda matrix, previous_factor: factorize_on_mesh(matrix, mesh, previous_factor),
        solve,
        evaluate_goals,
    )


def time_harmonic(unknowns: int) -> Row:
    """A field at a frequency: one ampere in the coil."""
    from fieldsolve.field.harmonic.gmres import HarmonicOperator
    from fieldsolve.field.harmonic.problem import HarmonicProblem
    from fieldsolve.field.harmonic.solution import HarmonicSolution
    from fieldsolve.field.system.bordered_operator import factorize_bordered
    from fieldsolve.field.system.eddy_current import eddy_system
    rig, clock, omega = section(), Clock(), 2 * math.pi * FREQUENCY
    with clock("mesh"):
        mesh = mesh_of_size(unknowns)

    def assemble():
        eddy = eddy_system(rig, mesh)
        return eddy, eddy.unit_loads["coil"].astype(complex)

    def solve(real, load):
        return HarmonicOperator(real.system, omega, real).solve(load)

    def evaluate_goals(real, load, u):
        solution = HarmonicSolution(HarmonicProblem(rig, {"coil": 1.0}, {}), real.system, HarmonicOperator(real.system, omega, real),
                                    {"coil": u}, np.zeros_like(u), {"coil": 1.0})
        solution.loss("disc"), solution.force("disc"), solution.net_current("disc")
        return 2 * math.pi * complex(load @ u)

    return _time_stages(
        clock,
        mesh.size,
        assemble,
        lambda eddy, previous_factor: factorize_bordered(eddy, omega, previous_factor and previous_factor.factor),
        solve,
        evaluate_goals,
    )


def _time_stages(clock: Clock, size: int, assemble: Callable, factorize_matrix: Callable, solve: Callable, evaluate_goals: Callable) -> Row:
    """A first solve, and a second with the pattern kept; the analysis is the difference of their factorizations."""
    from fieldsolve.field.linear_algebra.blas_threads import one_thread
    _warm_up()
    with one_thread():
        with clock("assembly"):
            matrix, load = assemble()
        with clock("both"):
            factor = factorize_matrix(matrix, None)
        with clock("solve"):
            u = solve(factor, load)
        with clock("quantities"):
            inductance = evaluate_goals(factor, load, u)
        second_clock = Clock()
        with second_clock("assembly"):
            matrix, load = assemble()
        with second_clock("factor"):
            factor = factorize_matrix(matrix, factor)
        with second_clock("solve"):
            solve(factor, load)
    seconds = clock.seconds | {"factor": second_clock.seconds["factor"], "analysis": clock.seconds["both"] - second_clock.seconds["factor"]}
    return Row(size, seconds, sum(second_clock.seconds.values()), _largest_memory(), inductance)


def _warm_up() -> None:
    """Import what the stages import, and fill the tables of the reference triangle, which serve every mesh."""
    import cvxopt.cholmod
    import skfem  # noqa: F401

    from fieldsolve.field.linear_algebra.solvers import factorize
    from fieldsolve.field.system.eddy_current import eddy_system
    from geometries.mesher import mesh_section
    assert cvxopt.cholmod
    factorize(eddy_system(section(), mesh_section(section(), scale=3.0)).stiffness)


def _largest_memory() -> float:
    """Largest memory of this process in GB."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024**2


def reference_run(unknowns: int, omega: float) -> tuple[complex, dict[str, float]]:
    """Inductance in H (flux linkage per ampere) by scikit-fem and spsolve, and seconds of processor time."""
    from benchmarks.reference_solver import solve_reference
    _warm_up()
    inductance, assembly, solve = solve_reference(section(), mesh_of_size(unknowns), "coil", 1j * omega)
    return inductance, {"assembly": assembly, "solve": solve}


@dataclass(frozen=True)
class ShotRow:
    """One shot.

    remesh_count  how often the air was meshed anew;  memory  largest, GB;  coil_peak  A
    stages        seconds by stage, see `benchmarks.shot_stages`
    reference     seconds that the reference solver would take for all stages
    """

    name: str
    unknowns: int
    steps: int
    remesh_count: int
    seconds: float
    memory: float
    coil_peak: float
    reference: float
    stages: dict[str, float] = field(default_factory=dict)


def time_shot(name: str) -> ShotRow:
    """The contract's shot to 60 us, held or moving, at default accuracy; of the reference solver one stage, times their number."""
    from benchmarks.cases import load
    from benchmarks.reference_solver import solve_reference
    from benchmarks.shot import bank_of, section_of
    _warm_up()
    setup = load("shot.toml")["contract-rig-held"].setup
    rig = section_of(setup, fs.material("copper"), fs.material("aluminium 1100-O"))
    motion = {"disc": fs.FlowMotion(), "coil": fs.HoopMotion()} if name == "moving" else False
    start = time.process_time()
    with stages_timed() as stages:
        shot = fs.solve_shot(rig, bank_of(setup), end_time=END_TIME, motion=motion)
    seconds, memory = time.process_time() - start, _largest_memory()
    mesh, rate = shot.field_at(0.0).mesh, shot.steps / END_TIME
    _, *stage = solve_reference(rig, mesh, "coil", rate)
    return ShotRow(name, mesh.size, shot.steps, shot.remesh_count, seconds, memory, float(shot.peak("current", "coil")),
                   2 * shot.steps * sum(stage), stages)
