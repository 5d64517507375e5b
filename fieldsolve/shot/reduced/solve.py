"""Reduce a held, cold section: its mesh, the coarser companion of it, and the range in which the model holds."""
from __future__ import annotations

import time as clock
import warnings
from collections.abc import Mapping, Sequence
from dataclasses import replace

from fieldsolve.bounds import check_accuracy
from fieldsolve.circuit.bank import Bank, Leads
from fieldsolve.circuit.equations import Network
from fieldsolve.field.adaptivity.error_bounds import typical_reduction
from fieldsolve.field.linear_algebra.blas_threads import one_thread
from fieldsolve.field.linear_algebra.solvers import LinearSolver, choose_solver
from fieldsolve.shot.meshing import companion_mesh, drive_frequency, shot_mesh
from fieldsolve.shot.network import build_network
from fieldsolve.shot.reduced.left_out import metal_zones
from fieldsolve.shot.reduced.model import ReducedModel, check_held
from fieldsolve.shot.reduced.reduction import reduce_on_mesh
from fieldsolve.shot.result.error_model import SAFETY_FACTOR, compare_runs
from geometries.cross_section import CrossSection
from geometries.errors import AccuracyWarning, InputError
from geometries.keywords import known_keywords
from geometries.parts import Part

SMALLEST_CAPACITANCE = 10e-6        # farad, of the banks that a model is made for unless `frequency` is given
HARMONICS = 10.0                    # the states are followed to so many times the highest frequency of a drive
REDUCTION_SHARE = 0.1               # of the accuracy: error of the states
MOST_REDUCTION_ERROR = 1e-2
REFERENCE_VOLTAGE = 1e3
REFERENCE_SHARE = 0.7               # of the highest frequency: of the discharge that tells by how much series differ between meshes


@known_keywords
def reduce_section(section: CrossSection, *, accuracy: float = 1e-3, frequency: float | None = None,
                   circuit: Sequence[Sequence[str]] | None = None, points: Mapping[str, tuple[float, float]] | None = None,
                   motion: bool = False, heating: bool = False, linear_solver: str | LinearSolver | None = None) -> ReducedModel:
    """Reduce a held, cold section to a small passive linear system, through which any bank is discharged in milliseconds.

    Parameters
    ----------
    section : CrossSection
        Coils and bodies, of metals without B-H curves.
    accuracy : float, optional
        Relative, of the goals that a shot's mesh is made for; the error of the states is a tenth of it.
    frequency : float, optional
        Highest frequency in hertz at which a bank will ring with the coils at rest; default: that of 10 uF.
    circuit : sequence of sequences of str, optional
        Branches in parallel, each the names of coils in series; default: all solenoids, spirals and windings in series.
    points : mapping of str to (r, z), optional
        Further places in metres at which the field is read, by name: series "field" (B_z) and "radial_field" (B_r).
    motion, heating : bool, optional
        False: metal is held and cold.  Anything else is refused, for the model has neither.
    linear_solver : str or LinearSolver, optional
        As for `solve_shot`.

    Returns
    -------
    ReducedModel

    Raises
    ------
    InputError
        For metal with a B-H curve or remanence, for motion and heating, and for arguments that cannot be.

    Examples
    --------
    >>> import fieldsolve as fs, geometries as geo
    >>> coil = geo.solenoid(turns=4, bore_radius=15.6e-3, wire_diameter=3e-3, pitch=3.3e-3, material=fs.material("copper"))
    >>> model = fs.reduce_section(geo.CrossSection([coil]), accuracy=3e-2)
    >>> model.coils, model.states < 30
    (('coil',), True)
    """
    started = clock.perf_counter()
    check_held(motion, heating)
    check_accuracy(accuracy)
    check_reducible(section)
    solver, points = choose_solver(linear_solver), dict(points or {})
    bank = Bank(capacitance=SMALLEST_CAPACITANCE, voltage=REFERENCE_VOLTAGE)
    network = build_network(section, bank, circuit, None, None, 1.0)
    natural = drive_frequency(section, network, solver)
    if frequency is not None:
        bank = Bank(capacitance=SMALLEST_CAPACITANCE * (natural / frequency) ** 2, voltage=REFERENCE_VOLTAGE)
        network = build_network(section, bank, circuit, None, None, 1.0)
    frequency = frequency or natural
    fine_mesh = shot_mesh(section, network, accuracy, linear_solver=solver)
    companion = companion_mesh(section, network, fine_mesh, linear_solver=solver)
    bodies = _conducting_bodies(section, network)
    tolerance = min(REDUCTION_SHARE * accuracy, MOST_REDUCTION_ERROR)
    with one_thread():
        fine, coarse = (reduce_on_mesh(section, mesh, network, bodies, HARMONICS * frequency, tolerance, points, solver)
                        for mesh in (fine_mesh.mesh, companion.mesh))
    model = ReducedModel(section=section, branches=network.branches, accuracy=accuracy, frequency=frequency, fine=fine, coarse=coarse,
                         mesh_errors=fine_mesh.error_bounds, factor=1.0, typical={"": 0.0},
                         metal=metal_zones(section, fine.mesh, (*network.coil_names, *bodies)), wall_time=0.0)
    model = _with_typical_errors(model, typical_reduction(companion.reductions.values()).ratio, started)
    for sentence in model.shortfalls:
        warnings.warn(sentence, AccuracyWarning, stacklevel=2)
    return model


def highest_frequency(section: CrossSection, banks: Sequence[Bank], leads: Leads | None, end_time: float) -> float:
    """1 / (2 pi sqrt(L C)) in hertz of the fastest of some banks, each alone with the empty coils, as `reduce_section` takes it."""
    return max(drive_frequency(section, build_network(section, bank, None, leads, None, end_time)) for bank in banks)


def check_reducible(section: CrossSection) -> None:
    """Refuse what a reduced model cannot hold: InputError."""
    if not isinstance(section, CrossSection):
        raise InputError(f"section: a reduced model needs a CrossSection with coils in open space, not {type(section).__name__}")
    for part in section.parts:
        for zone in part.zones:
            metal = zone.material
            if metal is not None and metal.bh_curve is not None:
                raise InputError(f"{part.name}: {metal.name} has a B-H curve, and a reduced model is linear: give the metal a "
                                 "relative_permeability, or take fs.solve_shot, which follows the curve")
            if metal is not None and metal.remanence:
                raise InputError(f"{part.name}: {metal.name} is a permanent magnet, remanence = {metal.remanence:g} T, and a reduced model "
                                 "starts without field: take fs.solve_static for the magnet's own field")


def _conducting_bodies(section: CrossSection, network: Network) -> tuple[str, ...]:
    """Names of the bodies of metal, closed coils outside the circuit among them."""
    def conducts(part: Part) -> bool:
        return not part.stranded and all(zone.material is not None and zone.material.conductivity > 0 for zone in part.zones)
    return tuple(part.name for part in section.parts if part.zones and conducts(part) and part.name not in network.coil_names)


def _with_typical_errors(model: ReducedModel, reduction: float, started: float) -> ReducedModel:
    """The model with what its two meshes differ by in a discharge at a lower frequency than the highest, over one period."""
    frequency = REFERENCE_SHARE * model.frequency
    bank = Bank(capacitance=SMALLEST_CAPACITANCE, voltage=REFERENCE_VOLTAGE)
    bank = replace(bank, capacitance=bank.capacitance * (model.ringing_frequency(bank) / frequency) ** 2)
    run = model.discharge(bank, end_time=1 / frequency)
    found = compare_runs(run, run.comparisons[0].run, False, reduction)
    typical = {unit: share + model.reduction_error / SAFETY_FACTOR for unit, share in found.typical.items()}
    return replace(model, factor=found.factor, typical=typical, wall_time=clock.perf_counter() - started)
