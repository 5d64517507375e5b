"""What NGSolve needs for an accuracy: the first of ever finer meshes whose inductance is right to it.

The meshes are set by hand, as in the cases.  Only the one that is fine enough counts, and it gives no error bound: seconds of ours hold the
coarser meshes and the bounds as well.
"""
from __future__ import annotations

import importlib.util
import time
from collections.abc import Callable
from dataclasses import dataclass

SCALES = (4.0, 2.0, 1.0, 0.5, 0.25)          # of the cells' sizes
ORDER, BEST_ORDER = 4, 5


@dataclass(frozen=True)
class PeerMesh:
    """Unknowns, seconds of processor time from the section to the field, inductance in H off by so much of itself."""

    unknowns: int
    seconds: float
    deviation: float


def is_installed() -> bool:
    """Whether NGSolve can be imported."""
    return importlib.util.find_spec("ngsolve") is not None


def meshes_timed(solve: Callable[[float, int], tuple[int, complex]]) -> list[PeerMesh]:
    """A field on meshes of SCALES; true is its inductance on the finest in BEST_ORDER."""
    solve(SCALES[0], ORDER)                                             # what is loaded at first use
    _, best = solve(SCALES[-1], BEST_ORDER)
    found = []
    for scale in SCALES:
        start = time.process_time()
        unknowns, inductance = solve(scale, ORDER)
        found.append(PeerMesh(unknowns, time.process_time() - start, abs(inductance / best - 1)))
    return found


def first_within(meshes: list[PeerMesh], accuracy: float) -> PeerMesh | None:
    """The coarsest mesh that is fine enough; None where none is."""
    return next((mesh for mesh in meshes if mesh.deviation <= accuracy), None)


def brooks_coil(scale: float, order: int) -> tuple[int, complex]:
    """Unknowns and inductance of the coil of square section."""
    from benchmarks.peers import ngsolve_section as peer

    coil = peer.Conductor(peer.Rectangle((10e-3, 20e-3), (-5e-3, 5e-3)), size=5e-3 * scale, edge_size=2e-3 * scale)
    found = peer.solve_static(peer.Section({"coil": coil}, extent=20e-3, air_size=5e-3 * scale, order=order), "coil", 1, 1.0)
    return found.unknowns, found.inductance


def magnetic_tube(scale: float, order: int) -> tuple[int, complex]:
    """Unknowns and inductance of the winding around a tube of relative permeability 100."""
    from benchmarks.peers import cases
    from benchmarks.peers import ngsolve_section as peer

    found = peer.solve_static(cases.tube_section(order, 0.2e-3 * scale, scale), "coil", 100, 10.0)
    return found.unknowns, found.inductance


def washer_in_solid_turns(scale: float, order: int) -> tuple[int, complex]:
    """Unknowns and impedance over j omega of the six solid turns around a washer at 20 kHz."""
    from benchmarks.peers import cases

    found = cases.washer_in_turns(20e3, order, 0.8e-3 * scale, scale)
    return found.unknowns, found.impedance
