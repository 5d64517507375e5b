"""What drives a shot: banks and their circuit, or prescribed currents; and the matrices of a section in that circuit."""
from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace

import numpy as np

from fieldsolve.bounds import check_end_time
from fieldsolve.circuit.bank import SERIES_SHAPES, Bank, Crowbar, Leads, check_charge
from fieldsolve.circuit.equations import Network
from fieldsolve.circuit.prescribed_currents import PrescribedCurrentNetwork, PrescribedCurrents
from fieldsolve.field.linear_algebra.solvers import LinearSolver
from fieldsolve.field.system.eddy_current import EddySystem, eddy_system
from fieldsolve.motion.contract import Motion
from fieldsolve.motion.hoops.motion import HoopMotion
from fieldsolve.motion.rigid import PrescribedMotion
from fieldsolve.shot.history import History
from fieldsolve.shot.integrator.field_circuit import Circuit
from geometries.cross_section import CrossSection
from geometries.errors import InputError
from geometries.fit import touching_zones
from geometries.mesh import Mesh
from geometries.mesher import OPEN_RADIUS

HOOP_REACH = 1.4         # of the extent of a section at rest


def bank_places(network: Circuit) -> tuple[str, ...]:
    """Names under which the banks' series stand: 'bank', or 'bank 1', 'bank 2', ...; none for prescribed currents."""
    return ("bank",) if len(network.banks) == 1 else tuple(f"bank {k + 1}" for k in range(len(network.banks)))


def coils_of(network: Circuit) -> tuple[str, ...]:
    """Names of the coils in the circuit."""
    return network.coil_names


def build_network(section: CrossSection, bank: Bank | Sequence[Bank] | PrescribedCurrents, circuit: Sequence[Sequence[str]] | None,
                  leads: Leads | None, crowbar: Crowbar | None, end_time: float) -> Circuit:
    """The circuit of a shot, as `solve_shot` describes it.  Raises InputError for what cannot be."""
    if isinstance(bank, PrescribedCurrents):
        return _prescribed_network(section, bank, end_time)
    banks = checked_banks(bank, end_time)
    branches = tuple(tuple(branch) for branch in circuit) if circuit is not None else \
        (tuple(part.name for part in section.parts if part.shape in SERIES_SHAPES),)
    names = [name for branch in branches for name in branch]
    if not names:
        raise InputError("no coil is in the circuit: add a solenoid, spiral or winding, or name the coils in circuit=")
    if not all(branches) or len(set(names)) < len(names):
        raise InputError(f"circuit = {[list(branch) for branch in branches]}: each branch needs a coil, and each coil may stand in it once")
    _check_coils(section, names)
    for part in map(section.part, names):
        if part.stranded and (part.fill is None or part.zones[0].material is None):
            raise InputError(f"circuit: {part.name} is stranded: its resistance needs fill= (the copper share) and material=")
    _check_insulation(section, names)
    return Network(banks, branches, leads or Leads(), crowbar)


def checked_banks(bank: Bank | Sequence[Bank], end_time: float) -> tuple[Bank, ...]:
    """The banks of a discharge to an end time in seconds.  Raises InputError for what cannot be."""
    banks = (bank,) if isinstance(bank, Bank) else tuple(bank)
    if not banks or not all(isinstance(b, Bank) for b in banks):
        raise InputError("bank: give a fs.Bank(capacitance=, voltage=, ...), a list of them, or fs.PrescribedCurrents(...)")
    check_charge(banks)
    check_end_time(end_time)
    return banks


def _check_insulation(section: CrossSection, coils: Iterable[str]) -> None:
    """Refuse a body that touches a bare turn, which would be a short that the circuit does not have."""
    for coil in map(section.part, coils):
        for body in (part for part in section.bodies if not coil.stranded):
            touching = touching_zones(body, coil)
            if touching:
                raise InputError(f"{body.name} touches {touching[1]} of {coil.name}, whose metal is bare: leave a gap for the insulation "
                                 "between them")


def shot_system(section: CrossSection, mesh: Mesh, network: Circuit, linear_solver: LinearSolver | None = None) -> EddySystem:
    """Matrices of the cold metal on a mesh; solid rings outside the circuit are bodies: V = 0, so their turns leave the border."""
    system = eddy_system(section, mesh, linear_solver)
    is_driven = np.array([name in coils_of(network) for name in system.turn_coil], dtype=bool)
    if is_driven.all():
        return system
    coils = tuple(name for name, stays in zip(system.turn_coil, is_driven, strict=True) if stays)
    return replace(system, turn_regions=system.turn_regions[is_driven], turn_coil=coils).with_conductivity(system.sigma)


def _prescribed_network(section: CrossSection, drive: PrescribedCurrents, end_time: float) -> PrescribedCurrentNetwork:
    check_end_time(end_time)
    for name in drive.currents:
        if not section.part(name).is_coil:
            raise InputError(f"currents: {name} is a {section.part(name).shape}, not a coil; a body carries no given current")
    return PrescribedCurrentNetwork(drive, end_time)


def _check_coils(section: CrossSection, names: Iterable[str]) -> None:
    for name in names:
        if not section.part(name).is_coil or not section.part(name).zones:
            raise InputError(f"circuit: {name} is a {section.part(name).shape}; only coils of wire can be in a circuit")


def with_induced_voltages(network: Circuit, history: History) -> History:
    """The series with the voltages of coils of prescribed current as R I + dPsi/dt, by the spline through their flux: where metal moves.

    The field in air has no rate of its own: what changes with the positions alone is known at the end of a step to first order only.
    """
    from scipy.interpolate import CubicSpline

    if len(history.times) < 3:
        return history
    induced = {}
    for name in coils_of(network):
        flux = CubicSpline(history.times, history.series("flux", name))
        induced["voltage", name] = history.series("resistive_voltage", name) + flux(history.times, 1)
    return History(history.times, history.values | induced)


def check_line_currents(section: CrossSection, motions: Mapping[str, Motion]) -> None:
    """Refuse a loop or sheet beside metal that moves, for the air's mesh moves with that.  Raises InputError."""
    lines = [part for part in section.parts if part.filament or part.sheet]
    if lines and motions:
        raise InputError(f"{lines[0].name} is a {lines[0].shape}, a line current, and {next(iter(motions))} moves: hold the metal, "
                         "motion=False, or give the coil a section: ring(radius=, wire_diameter=) or winding(...)")


def without_infinite(history: History, section: CrossSection) -> History:
    """The series without flux and voltage of loops, which are infinite: those of the mesh are of a wire as thin as its cells."""
    loops = {part.name for part in section.parts if part.filament}
    dropped = ("flux", "voltage", "resistive_voltage")
    return History(history.times, {key: values for key, values in history.values.items() if not (key[0] in dropped and key[1] in loops)})


def required_open_radius(section: CrossSection, motions: Mapping[str, Motion], end_time: float) -> float | None:
    """Radius in metres of the meshed air that prescribed motions and turns that fly outwards stay within; None: the default."""
    reach = HOOP_REACH * section.extent if any(isinstance(motion, HoopMotion) for motion in motions.values()) else 0.0
    for name, motion in motions.items():
        if isinstance(motion, PrescribedMotion):
            outline = np.concatenate([zone.outline.polygon() for zone in section.part(name).zones])
            for time in np.linspace(0, end_time, 21):
                r, z = motion.positions_at(time, *outline.T)
                reach = max(reach, float(np.hypot(r, z - section.centre).max()))
    return OPEN_RADIUS * reach if reach > section.extent else None
