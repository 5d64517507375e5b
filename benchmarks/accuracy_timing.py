"""Seconds of processor time to a requested accuracy, beside order 2 and another library: part of `python -m benchmarks timing`."""
from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass

import fieldsolve as fs
import geometries as geo
from benchmarks import harmonic, statics
from benchmarks.peers import accuracy as peer
from fieldsolve.field.adaptivity import refinement

ACCURACIES = (1e-3, 1e-4, 1e-5, 1e-6, 1e-7)
COPPER, METAL = fs.Material(name="copper", conductivity=5.8e7), fs.Material(name="metal", conductivity=2.5e7)


@dataclass(frozen=True)
class AccuracyRow:
    """One field: the order of its triangles, and of the last mesh the unknowns and the largest error bound over its scale."""

    order: int
    meshes: int
    unknowns: int
    largest_bound: float
    seconds: float


def brooks_coil(accuracy: float):
    """Inductance of a coil of square section, 10 mm on a mean radius of 15 mm."""
    coil = geo.winding(inner_radius=10e-3, outer_radius=20e-3, height=10e-3, turns=1)
    return fs.solve_static(geo.CrossSection([coil]), {"coil": 1.0}, accuracy=accuracy, goals="inductance")


def loop(accuracy: float):
    """Flux density of a loop of 20 mm radius, at its middle and at half its radius."""
    return statics.single_loop(20e-3, 1.0, accuracy, [(0.0, 0.0), (10e-3, 0.0)])


def magnetic_tube(accuracy: float):
    """A winding around a tube of relative permeability 100 off its middle."""
    tube = geo.tube(inner_radius=10e-3, wall=4e-3, length=20e-3, at=14e-3, material=fs.material("iron", relative_permeability=100.0))
    coil = geo.winding(inner_radius=20e-3, outer_radius=30e-3, height=20e-3, turns=100)
    return fs.solve_static(geo.CrossSection([coil, tube]), {"coil": 10.0}, accuracy=accuracy)


def sphere(accuracy: float):
    """A copper sphere of 20 mm radius in a uniform field at 1 kHz."""
    return harmonic.solid_sphere_fields(20e-3, COPPER.conductivity, [1000.0], accuracy).fields[0]


def coil_over_plate(accuracy: float):
    """A winding of 8 turns, 1 mm over an aluminium plate, at 1 kHz."""
    coil = geo.winding(inner_radius=6e-3, outer_radius=12e-3, height=6e-3, turns=8, at=4e-3, name="coil")
    return harmonic.over_plate(coil, 12e-3, METAL.conductivity, [1000.0], accuracy).fields[0]


def washer_in_solid_turns(accuracy: float):
    """Six solid turns around a washer off their middle at 20 kHz."""
    coil = geo.solenoid(turns=6, bore_radius=18.5e-3, wire_diameter=3e-3, pitch=3.6e-3, material=COPPER)
    washer = geo.washer(radius=16e-3, thickness=2e-3, hole_radius=6e-3, at=5e-3, material=METAL)
    return fs.solve_harmonic(geo.CrossSection([coil, washer]), 20e3, currents={"coil": 1e3}, accuracy=accuracy)


FIELDS: dict[str, tuple[Callable, float]] = {      # with the smallest accuracy that each is tried at
    "inductance of Brooks' coil": (brooks_coil, 1e-7), "loop": (loop, 1e-7), "sphere at 1 kHz": (sphere, 1e-6),
    "coil over a plate, 1 kHz": (coil_over_plate, 1e-6), "washer in six solid turns, 20 kHz": (washer_in_solid_turns, 1e-6),
    "magnetic tube in a winding": (magnetic_tube, 1e-6),
}
PEERS = {"inductance of Brooks' coil": peer.brooks_coil, "washer in six solid turns, 20 kHz": peer.washer_in_solid_turns,
         "magnetic tube in a winding": peer.magnetic_tube}


def time_to_accuracy(name: str, accuracy: float, order_2: bool = False) -> AccuracyRow:
    """Solve one of FIELDS to an accuracy; what is loaded or tabulated at first use is so before the clock starts."""
    if order_2:                             # in a process of its own: the choice of the order is not given back
        refinement.LEAST_ACCURACY_OF_ORDER_2 = 0.0
    brooks_coil(accuracy=max(accuracy, 1e-4)), sphere(0.1)
    start = time.process_time()
    field = FIELDS[name][0](accuracy)
    seconds, last = time.process_time() - start, field.convergence[-1]
    largest = max(bound / last.scales[goal] for goal, bound in last.bounds.items())
    return AccuracyRow(field.mesh.order, field.meshes, last.unknowns, largest, seconds)


def accuracy_lines(run: Callable, accuracies: tuple[float, ...] = ACCURACIES) -> Iterator[str]:
    """Lines of the table; `run` calls a function with arguments in a process of its own, and is None where that takes too long."""
    for name, (_, smallest) in FIELDS.items():
        meshes = run(peer.meshes_timed, PEERS[name]) if name in PEERS and peer.is_installed() else None
        for accuracy in (accuracy for accuracy in accuracies if accuracy >= smallest):
            chosen = run(time_to_accuracy, name, accuracy)
            lower = chosen if chosen and chosen.order == 2 else run(time_to_accuracy, name, accuracy, True)
            yield accuracy_line(name, accuracy, chosen, lower, meshes and peer.first_within(meshes, accuracy))


def accuracy_line(name: str, accuracy: float, chosen: AccuracyRow | None, order_2: AccuracyRow | None,
                  other: peer.PeerMesh | None) -> str:
    """One line in Markdown; a dash stands for what took too long, or is not there."""
    cells = [name, f"{accuracy:.0e}"]
    cells += [str(chosen.order), str(chosen.meshes), str(chosen.unknowns), f"{chosen.largest_bound:.0e}",
              f"{chosen.seconds:.2f}"] if chosen else ["-"] * 5
    cells += [str(order_2.unknowns), f"{order_2.seconds:.2f}"] if order_2 else ["-"] * 2
    cells += [str(other.unknowns), f"{other.seconds:.2f}"] if other else ["-"] * 2
    return f"| {' | '.join(cells)} |\n"


def accuracy_table(lines: list[str]) -> str:
    """The lines under their header, in Markdown."""
    return ("| field | accuracy | order | meshes | unknowns | largest error bound | seconds | in order 2: unknowns | seconds "
            "| NGSolve: unknowns | seconds |\n" + "| --- " * 11 + "|\n" + "".join(lines))
