"""Seconds of processor time to a requested accuracy, one row a section and an accuracy: part of `python -m benchmarks timing`."""
from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass

import fieldsolve as fs
import geometries as geo
from benchmarks import harmonic

ACCURACIES = (1e-3, 1e-4, 1e-5, 1e-6, 1e-7)
COPPER, METAL = fs.Material(name="copper", conductivity=5.8e7), fs.Material(name="metal", conductivity=2.5e7)


@dataclass(frozen=True)
class AccuracyRow:
    """One field: the order of its triangles, and of the last mesh the unknowns and the largest error bound over its scale."""

    name: str
    accuracy: float
    order: int
    meshes: int
    unknowns: int
    largest_bound: float
    seconds: float


def brooks_coil(accuracy: float):
    """Inductance of a coil of square section, 10 mm on a mean radius of 15 mm."""
    coil = geo.winding(inner_radius=10e-3, outer_radius=20e-3, height=10e-3, turns=1)
    return fs.solve_static(geo.CrossSection([coil]), {"coil": 1.0}, accuracy=accuracy, goals="inductance")


def magnetic_tube(accuracy: float):
    """A winding around a tube of relative permeability 100 off its middle."""
    tube = geo.tube(inner_radius=10e-3, wall=4e-3, length=20e-3, at=14e-3, material=fs.material("iron", relative_permeability=100.0))
    coil = geo.winding(inner_radius=20e-3, outer_radius=30e-3, height=20e-3, turns=100)
    return fs.solve_static(geo.CrossSection([coil, tube]), {"coil": 10.0}, accuracy=accuracy)


def sphere(accuracy: float):
    """A copper sphere of 20 mm radius in a uniform field at 1 kHz."""
    return harmonic.solid_sphere_fields(20e-3, COPPER.conductivity, [1000.0], accuracy).fields[0]


def washer_in_solid_turns(accuracy: float):
    """Six solid turns around a washer off their middle at 20 kHz."""
    coil = geo.solenoid(turns=6, bore_radius=18.5e-3, wire_diameter=3e-3, pitch=3.6e-3, material=COPPER)
    washer = geo.washer(radius=16e-3, thickness=2e-3, hole_radius=6e-3, at=5e-3, material=METAL)
    return fs.solve_harmonic(geo.CrossSection([coil, washer]), 20e3, currents={"coil": 1e3}, accuracy=accuracy)


FIELDS: dict[str, tuple[Callable, float]] = {      # with the smallest accuracy that each is tried at
    "inductance of Brooks' coil": (brooks_coil, 1e-7), "magnetic tube in a winding": (magnetic_tube, 1e-6),
    "sphere at 1 kHz": (sphere, 1e-6), "washer in six solid turns, 20 kHz": (washer_in_solid_turns, 1e-5),
}


def time_to_accuracy(name: str, accuracy: float) -> AccuracyRow:
    """Solve one of FIELDS to an accuracy; what is loaded or tabulated at first use is so before the clock starts."""
    brooks_coil(accuracy=max(accuracy, 1e-4)), sphere(0.1)
    start = time.process_time()
    field = FIELDS[name][0](accuracy)
    seconds, last = time.process_time() - start, field.convergence[-1]
    largest = max(bound / last.scales[goal] for goal, bound in last.bounds.items())
    return AccuracyRow(name, accuracy, field.mesh.order, field.meshes, last.unknowns, largest, seconds)


def accuracy_rows(run: Callable, accuracies: tuple[float, ...] = ACCURACIES) -> Iterator[AccuracyRow]:
    """A row a field and accuracy; `run` calls a function with arguments, in a process of its own for instance."""
    for name, (_, smallest) in FIELDS.items():
        for accuracy in (accuracy for accuracy in accuracies if accuracy >= smallest):
            yield run(time_to_accuracy, name, accuracy)


def accuracy_table(found: list[AccuracyRow]) -> str:
    """The rows in Markdown."""
    header = "| field | accuracy | order | meshes | unknowns | largest error bound | seconds |\n" + "| --- " * 7 + "|\n"
    return header + "".join(f"| {row.name} | {row.accuracy:.0e} | {row.order} | {row.meshes} | {row.unknowns} | {row.largest_bound:.0e} | "
                            f"{row.seconds:.2f} |\n" for row in found)
