"""`python -m benchmarks timing [--unknowns N ...] [--into FILE]`: what fields and shots cost, beside the plain way in the same run.

Every row is a process of its own, so that nothing is kept from the one before and the largest memory is its own.
"""
from __future__ import annotations

import argparse
import math
import multiprocessing
import os
import resource
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

import fieldsolve as fs
import geometries as geo
from benchmarks import tables

SIZES = (10_000, 30_000, 100_000, 200_000, 1_000_000)
PER_SCALE = 2650            # unknowns of the section at the mesher's first guess; they grow as 1 / scale^2
REFERENCE_LIMIT = 60.0          # seconds that the plain way may be expected to take; a larger row goes without it
REFERENCE_GROWTH = 1.6          # exponent by which its time is expected to grow
GROWTH_FROM = 25_000        # unknowns from which the growth exponent is taken
FREQUENCY = 1000.0          # Hz
END_TIME = 60e-6            # seconds of the shots
START = "<!-- timing table: written by `python -m benchmarks timing --into benchmarks/SPEED.md` -->"
END = "<!-- end of the timing table -->"
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
    """One field: unknowns, seconds by stage, those of a second solve on the pattern kept, GB, inductance in H; plain seconds by stage."""

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
    from fieldsolve.field.linear_algebra.cholesky import factorize
    from fieldsolve.field.linear_algebra.elimination_order import elimination_order
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
        solution = StaticSolution(StaticProblem(rig, {"coil": 1.0}), mesh, nu, factor, {"coil": load}, {"coil": u}, np.zeros_like(u))
        solution.peak("bore"), solution.axial_force("coil"), solution.energy()
        solution.solution.flux_density(np.zeros(200), np.linspace(-20e-3, 20e-3, 200))
        return solution.inductance("coil", "coil")

    return _time_stages(
        clock,
        mesh.size,
        assemble,
        lambda matrix, previous_factor: factorize(matrix, previous_factor, elimination_order(mesh.topology)),
        solve,
        evaluate_goals,
    )


def time_harmonic(unknowns: int) -> Row:
    """A field at a frequency: one ampere in the coil."""
    from fieldsolve.field.harmonic.gmres import HarmonicOperator
    from fieldsolve.field.harmonic.solution import HarmonicProblem, HarmonicSolution
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
    """Once from the start, once more with the pattern kept; the analysis is what the first factorization takes more than the second."""
    from fieldsolve.field.linear_algebra.cholesky import one_thread
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
    """Import what the stages import, and make the tables of the reference triangle, which no mesh needs anew."""
    import cvxopt.cholmod
    import skfem  # noqa: F401

    from fieldsolve.field.linear_algebra.cholesky import factorize
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
    """One shot: unknowns, steps, how often air was made new, seconds, GB, coil peak in A; seconds of its stages the plain way."""

    name: str
    unknowns: int
    steps: int
    remesh_count: int
    seconds: float
    memory: float
    coil_peak: float
    reference: float


def contract_shot(name: str) -> ShotRow:
    """The contract's shot to 60 us, held or moving, at default accuracy; the plain way is one of its stages, times their number."""
    from benchmarks.cases import load
    from benchmarks.reference_solver import solve_reference
    from benchmarks.shot import bank_of, section_of
    _warm_up()
    setup = load("shot.toml")["contract-rig-held"].setup
    rig = section_of(setup, fs.material("copper"), fs.material("aluminium 1100-O"))
    motion = {"disc": fs.FlowMotion(), "coil": fs.HoopMotion()} if name == "moving" else False
    start = time.process_time()
    shot = fs.solve_shot(rig, bank_of(setup), end_time=END_TIME, motion=motion)
    seconds, memory = time.process_time() - start, _largest_memory()
    mesh, rate = shot.field_at(0.0).mesh, shot.steps / END_TIME
    _, *stage = solve_reference(rig, mesh, "coil", rate)
    return ShotRow(name, mesh.size, shot.steps, shot.remesh_count, seconds, memory, float(shot.peak("current", "coil")),
                   2 * shot.steps * sum(stage))


# ---- all of them, and the tables ---------------------------------------------------------------------------------


def run_in_new_process(row: Callable, *arguments):
    """The row computed in a fresh process."""
    with multiprocessing.get_context("spawn").Pool(1) as pool:
        return pool.apply(row, arguments)


def rows(measure: Callable, omega: float, sizes: tuple[int, ...]) -> Iterator[Row]:
    """A row a size, the plain way beside it while it is expected to end in time; its inductance must be the same to 1e-8."""
    expected = 0.0
    for size in sizes:
        row = run_in_new_process(measure, size)
        if expected < REFERENCE_LIMIT:
            inductance, seconds = run_in_new_process(reference_run, size, omega)
            if not abs(inductance / row.inductance - 1) < 1e-8:
                raise ArithmeticError(f"{row.unknowns} unknowns: {row.inductance:.12g} H here, {inductance:.12g} H the plain way")
            row = Row(row.unknowns, row.seconds, row.second_solve, row.memory, row.inductance, seconds)
            larger_sizes = [other for other in sizes if other > size]
            expected = sum(seconds.values()) * (larger_sizes[0] / size) ** REFERENCE_GROWTH if larger_sizes else 0.0
        yield row


def growth(found: list[Row]) -> float | None:
    """Exponent of the seconds of a first solve over the unknowns, from GROWTH_FROM to the largest; None where there is but one size."""
    sizes_counted = [row for row in found if row.unknowns >= GROWTH_FROM]
    return (
        math.log(sizes_counted[-1].first_solve / sizes_counted[0].first_solve)
        / math.log(sizes_counted[-1].unknowns / sizes_counted[0].unknowns)
        if len(sizes_counted) > 1
        else None
    )


def field_table(found: list[Row]) -> str:
    """Rows of fields in Markdown."""
    header = f"| unknowns | {' | '.join(STAGES)} | first solve | pattern kept | GB | reference: assembly | solve | reference over first |\n"
    lines = []
    for row in found:
        reference_seconds = sum(row.reference.values())
        reference_cells = (
            [f"{row.reference['assembly']:.2f}", f"{row.reference['solve']:.2f}", f"{reference_seconds / row.first_solve:.0f}"]
            if row.reference
            else ["-"] * 3
        )
        cells = [f"{row.unknowns:,}".replace(",", " "), *(f"{row.seconds[stage]:.3f}" for stage in STAGES), f"{row.first_solve:.3f}",
                 f"{row.second_solve:.3f}", f"{row.memory:.2f}", *reference_cells]
        lines.append(f"| {' | '.join(cells)} |\n")
    return header + "| --- " * (len(STAGES) + 7) + "|\n" + "".join(lines)


def shot_table(found: list[ShotRow]) -> str:
    """Rows of shots in Markdown."""
    header = "| shot | unknowns | steps | air remeshed | seconds | GB | reference | reference over seconds |\n" + "| --- " * 8 + "|\n"
    return header + "".join(f"| {row.name} | {row.unknowns} | {row.steps} | {row.remesh_count} | {row.seconds:.1f} | {row.memory:.2f} | "
                            f"{row.reference:.0f} | {row.reference / row.seconds:.0f} |\n" for row in found)


def report(sizes: tuple[int, ...]) -> str:
    """All tables in Markdown."""
    load = os.getloadavg()[0]
    text = [f"Seconds of processor time; {os.cpu_count()} cores, load {load:.1f} at the start, Python {sys.version.split()[0]}."]
    for title, measure, omega in (("At rest", time_static, 0.0), (f"At {FREQUENCY:g} Hz", time_harmonic, 2 * math.pi * FREQUENCY)):
        found = list(rows(measure, omega, sizes))
        exponent = growth(found)
        text.append(f"{title}:\n\n{field_table(found)}" + (f"\nGrowth exponent of the first solve: {exponent:.2f}." if exponent else ""))
    text.append(
        "Shots of an eight-turn coil around an aluminium disc, 60 us:\n\n"
        + shot_table([run_in_new_process(contract_shot, name) for name in ("held", "moving")])
    )
    return "\n\n".join(text)


def main(arguments: list[str]) -> int:
    """Print the tables, or write them between the markers of a file; 0."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks timing", description="What fields and shots cost, beside the plain way.")
    parser.add_argument("--unknowns", type=int, nargs="+", default=SIZES, metavar="N", help="sizes of the fields, rising")
    parser.add_argument("--into", type=Path, metavar="FILE", help="write the tables between the markers of FILE")
    options = parser.parse_args(arguments)
    if options.into:
        tables.check_markers(parser, options.into, (START, END))
    text = report(tuple(sorted(options.unknowns)))
    if options.into:
        options.into.write_text(tables.replaced(options.into.read_text(encoding="utf-8"), text, (START, END)), encoding="utf-8")
    else:
        print(text)
    return 0
