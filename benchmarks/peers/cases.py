"""Four sections, solved here and by NGSolve: at rest, at two frequencies, and with a bank; every number is invented."""
from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from itertools import pairwise
from math import pi

import numpy as np

import fieldsolve as fs
import geometries as geo

ACCURACY = 1e-4                     # of our fields; the shot's is SHOT_ACCURACY
SHOT_ACCURACY = 1e-3
LEAST_TOLERANCE = 2e-4              # of the larger of both values
FREQUENCIES = (2e3, 20e3)           # Hz
TURNS, PITCH, COPPER, METAL, CURRENT = 6, 3.6e-3, 5.8e7, 2.5e7, 1e3     # of the turns around a washer: m, S/m, S/m, A


@dataclass(frozen=True)
class PeerRow:
    """One quantity by both: values, the error bound of ours, the change of theirs between two meshes; and what each took."""

    case: str
    quantity: str
    ours: float
    our_error: float
    theirs: float
    their_error: float
    our_cost: str
    their_cost: str

    @property
    def deviation(self) -> float:
        """Relative to their value."""
        return abs(self.ours - self.theirs) / max(abs(self.theirs), 1e-300)

    @property
    def tolerance(self) -> float:
        """The sum of both errors, or LEAST_TOLERANCE where that is larger; relative."""
        return max((self.our_error + self.their_error) / max(abs(self.theirs), 1e-300), LEAST_TOLERANCE)

    @property
    def passed(self) -> bool:
        return self.deviation <= self.tolerance


Values = dict[str, float]


def static_tube() -> Iterator[PeerRow]:
    """A winding of 100 turns with 10 A around a tube of relative permeability 100 that stands off its middle."""
    from benchmarks.peers import ngsolve_section as peer

    point, current = (4e-3, 20e-3), 10.0
    tube = geo.tube(inner_radius=10e-3, wall=4e-3, length=20e-3, at=14e-3, material=fs.material("iron", relative_permeability=100.0))
    coil = geo.winding(inner_radius=20e-3, outer_radius=30e-3, height=20e-3, turns=100)

    def ours():
        field = fs.solve_static(geo.CrossSection([coil, tube]), currents={"coil": current}, accuracy=ACCURACY, points=[point])
        return {"inductance [H]": field.inductance("coil"), "axial force on the winding [N]": field.axial_force("coil"),
                "B_z at (4, 20) mm [T]": fs.Estimate(
                    field.flux_density(*point)[1], float(field.flux_density_error(*point)), "T")}, field.unknowns

    def theirs(order: int, edge_size: float):
        found = peer.solve_static(tube_section(order, edge_size), "coil", 100, current)
        return {"inductance [H]": found.inductance, "axial force on the winding [N]": found.force,
                "B_z at (4, 20) mm [T]": peer.flux_density(found.psi, *point)[1]}, found.unknowns

    yield from _rows("winding around a magnetic tube", ours, [lambda: theirs(4, 0.1e-3), lambda: theirs(5, 0.05e-3)])


def tube_section(order: int, edge_size: float, scale: float = 1.0):
    """The section of `static_tube` in the other library; `scale` multiplies all other sizes of its cells."""
    from benchmarks.peers import ngsolve_section as peer

    return peer.Section({
        "coil": peer.Conductor(peer.Rectangle((20e-3, 30e-3), (-10e-3, 10e-3)), size=3e-3 * scale),
        "tube": peer.Conductor(peer.Rectangle((10e-3, 14e-3), (4e-3, 24e-3)), relative_permeability=100.0, size=2e-3 * scale,
                               edge_size=edge_size),
    }, extent=30e-3, air_size=5e-3 * scale, order=order)


def harmonic_washer(frequency: float) -> Iterator[PeerRow]:
    """Six solid turns of round wire with 1 kA around a washer off their middle."""
    coil = geo.solenoid(turns=TURNS, bore_radius=18.5e-3, wire_diameter=3e-3, pitch=PITCH,
                        material=fs.Material(name="copper", conductivity=COPPER))
    washer = geo.washer(radius=16e-3, thickness=2e-3, hole_radius=6e-3, at=5e-3, material=fs.Material(name="metal", conductivity=METAL))

    def ours():
        field = fs.solve_harmonic(geo.CrossSection([coil, washer]), frequency=frequency, currents={"coil": CURRENT}, accuracy=ACCURACY)
        return {"resistance [ohm]": field.resistance("coil"), "inductance [H]": field.inductance("coil"),
                "loss in the washer [W]": field.loss("washer"), "mean force on the washer [N]": field.axial_force("washer"),
                }, field.unknowns

    def theirs(order: int, size: float):
        found = washer_in_turns(frequency, order, size)
        return {"resistance [ohm]": found.impedance.real, "inductance [H]": found.impedance.imag / (2 * pi * frequency),
                "loss in the washer [W]": found.losses["washer"], "mean force on the washer [N]": found.forces["washer"]}, found.unknowns

    yield from _rows(f"washer in six solid turns, {frequency / 1e3:g} kHz", ours, [lambda: theirs(4, 0.5e-3), lambda: theirs(5, 0.4e-3)])


def washer_in_turns(frequency: float, order: int, size: float, scale: float = 1.0):
    """The field of `harmonic_washer` in the other library; `size` is that of cells in metal, `scale` multiplies that of those in air."""
    from benchmarks.peers import ngsolve_section as peer

    names = [f"turn {k}" for k in range(TURNS)]
    wires = {name: peer.Conductor(peer.Circle(20e-3, (k - (TURNS - 1) / 2) * PITCH, 1.5e-3), conductivity=COPPER, size=size)
             for k, name in enumerate(names)}
    washer = peer.Conductor(peer.Rectangle((6e-3, 16e-3), (4e-3, 6e-3)), conductivity=METAL, size=1.5 * size, edge_size=size)
    section = peer.Section({**wires, "washer": washer}, extent=30e-3, air_size=4e-3 * scale, order=order)
    return peer.solve_harmonic(section, names, CURRENT, frequency)


def held_shot() -> Iterator[PeerRow]:
    """A bank of 120 uF at 6.5 kV on eight solid turns around a disc, cold and held still, to its first peak of current."""
    from benchmarks.peers import ngsolve_section as peer

    turns, pitch, end_time = 8, 3.3e-3, 24e-6
    metals = {"wire": fs.material("copper"), "disc": fs.material("aluminium 1100-O")}
    names = [f"turn {k}" for k in range(turns)]
    coil = geo.solenoid(turns=turns, bore_radius=15.6e-3, wire_diameter=3e-3, pitch=pitch, material=metals["wire"])
    disc = geo.disc(radius=15e-3, thickness=2e-3, material=metals["disc"])
    bank = fs.Bank(capacitance=120e-6, voltage=6.5e3, resistance=6e-3, inductance=350e-9, arc_voltage=80.0)

    def ours():
        shot = fs.solve_shot(geo.CrossSection([coil, disc]), bank, end_time=end_time, motion=False, heating=False, accuracy=SHOT_ACCURACY)
        currents = {"coil": shot.peak("current", "coil"), "disc": shot.peak("current", "disc")}
        return {**{f"peak current of the {name} [A]": peak for name, peak in currents.items()},
                "time of the coil's peak [s]": fs.Estimate(currents["coil"].time, currents["coil"].time_error, "s")}, shot.unknowns

    def theirs(order: int):
        wires = {name: peer.Conductor(peer.Circle(17.1e-3, (k - (turns - 1) / 2) * pitch, 1.5e-3),
                                      conductivity=metals["wire"].conductivity, size=0.4e-3) for k, name in enumerate(names)}
        body = peer.Conductor(peer.Rectangle((0.0, 15e-3), (-1e-3, 1e-3)), conductivity=metals["disc"].conductivity, size=0.6e-3,
                              edge_size=0.25e-3)
        section = peer.Section({**wires, "disc": body}, extent=30e-3, air_size=3e-3, order=order)
        sought = peer.Bank(bank.capacitance, bank.voltage, bank.resistance, bank.inductance, bank.arc_voltage)
        runs = [peer.solve_discharge(section, names, sought, end_time, steps) for steps in (100, 200, 400)]
        return _extrapolated([_peaks(run) for run in runs]), runs[0].unknowns

    yield from _rows("bank on eight solid turns around a disc, held", ours, [lambda: theirs(3), lambda: theirs(4)])


def _peaks(run) -> np.ndarray:
    """Peak current of coil and disc in A and time of the coil's in s, by parabolas through five steps."""
    def top(values):
        k = int(np.argmax(np.abs(values)))
        a, b, c = np.polyfit(run.times[k - 2:k + 3] - run.times[k], values[k - 2:k + 3], 2)
        return c - b * b / (4 * a), run.times[k] - b / (2 * a)
    coil, at = top(run.current)
    return np.array([coil, top(run.rings["disc"])[0], at])


def _extrapolated(runs: list[np.ndarray]) -> Values:
    """To steps of no length from three runs, each with half the step of the one before: backward Euler has errors in step and step^2."""
    once = [2 * finer - coarser for coarser, finer in pairwise(runs)]
    twice = (4 * once[1] - once[0]) / 3
    names = ("peak current of the coil [A]", "peak current of the disc [A]", "time of the coil's peak [s]")
    return dict(zip(names, twice.tolist(), strict=True))


CASES: dict[str, Callable[[], Iterator[PeerRow]]] = {
    "static": static_tube,
    **{f"harmonic-{frequency / 1e3:g}-kHz": (lambda frequency=frequency: harmonic_washer(frequency)) for frequency in FREQUENCIES},
    "discharge": held_shot,
}


def _rows(case: str, ours: Callable[[], tuple[dict, int]], theirs: list[Callable[[], tuple[Values, int]]]) -> Iterator[PeerRow]:
    """Rows of a case; their error is how much a value changes from the first of their runs to the last."""
    (our_values, our_unknowns), our_seconds = _timed(ours)
    runs = [_timed(run) for run in theirs]
    (first, _), _ = runs[0]
    (last, unknowns), their_seconds = runs[-1]
    for quantity, value in our_values.items():
        yield PeerRow(case, quantity, float(value), float(value.error), last[quantity], abs(last[quantity] - first[quantity]),
                      f"{our_unknowns} unknowns, {our_seconds:.1f} s", f"{unknowns} unknowns, {their_seconds:.1f} s")


def _timed(run: Callable):
    start = time.process_time()
    return run(), time.process_time() - start

