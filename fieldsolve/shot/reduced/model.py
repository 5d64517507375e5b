"""A held, cold section reduced once, through which any bank is discharged in milliseconds."""
from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from fieldsolve.circuit.bank import Bank, Crowbar, Leads
from fieldsolve.circuit.equations import Network
from fieldsolve.circuit.prescribed_currents import PrescribedCurrents
from fieldsolve.estimate import Estimate
from fieldsolve.pickling import declared_fields
from fieldsolve.shot.history import History
from fieldsolve.shot.network import checked_banks
from fieldsolve.shot.reduced.left_out import MetalZone
from fieldsolve.shot.reduced.reduction import Reduction
from fieldsolve.shot.reduced.result import ReducedShot
from fieldsolve.shot.reduced.separate_circuits import SeparateCircuits, networks_of
from fieldsolve.shot.reduced.series import ReducedSeries
from fieldsolve.shot.reduced.trajectory import discharge
from fieldsolve.shot.result.error_model import SAFETY_FACTOR, RunComparison
from geometries.cross_section import CrossSection
from geometries.errors import InputError


@dataclass(frozen=True, eq=False, repr=False, kw_only=True)
class ReducedModel:
    """A held, cold section as a small passive linear system; made by `reduce_section`.

    section      coils and bodies
    branches     names of the coils in series in each branch
    accuracy     relative, that was requested
    frequency    highest frequency in hertz at which a bank may ring with the empty coils
    fine         the section on the mesh that the accuracy needs
    coarse       the same on cells twice as large, whose difference bounds errors
    mesh_errors  relative error bounds of the mesh's goals at that frequency, by name
    factor       error of the fine one over its difference from the coarse one
    typical      relative error by unit, of series of a discharge, that no bound undercuts; "" of all
    metal        zones of metal
    wall_time    seconds that it took to make
    """

    section: CrossSection
    branches: tuple[tuple[str, ...], ...]
    accuracy: float
    frequency: float
    fine: Reduction
    coarse: Reduction
    mesh_errors: Mapping[str, float]
    factor: float
    typical: Mapping[str, float]
    metal: tuple[MetalZone, ...]
    wall_time: float

    __getstate__ = declared_fields

    def __repr__(self) -> str:
        return (f"ReducedModel({self.states} states of {self.fine.mesh.size} unknowns, coils: {', '.join(self.coils)}, bodies: "
                f"{', '.join(self.bodies) or 'none'}, up to {self.frequency:.4g} Hz, metal held and cold)")

    @property
    def states(self) -> int:
        """Number of states of the field."""
        return self.fine.field.states

    @property
    def coils(self) -> tuple[str, ...]:
        """Names of the coils in the circuit."""
        return self.fine.field.coils

    @property
    def bodies(self) -> tuple[str, ...]:
        """Names of the conducting bodies."""
        return self.fine.bodies

    @property
    def decay_times(self) -> tuple[Estimate, ...]:
        """The longest times in seconds with which eddy currents die away while all coils are open, longest first."""
        pairs = zip(self.fine.decay_constants, self.coarse.decay_constants, strict=False)
        return tuple(Estimate(float(fine), SAFETY_FACTOR * self.factor * abs(float(fine - coarse)), "s") for fine, coarse in pairs)

    @property
    def reduction_error(self) -> float:
        """Bound on the relative error of the states beside the mesh's own field at any frequency tried, in the norm of its energy."""
        return max(self.fine.field.error_bound, self.coarse.field.error_bound)

    @property
    def shortfalls(self) -> tuple[str, ...]:
        """A sentence for each goal whose error bound exceeds the accuracy; none: it is reached."""
        return tuple(f"accuracy = {self.accuracy:g} was not reached: at {self.frequency:.3g} Hz the error of '{name}' is about {bound:.1e} "
                     "of its scale" for name, bound in self.mesh_errors.items() if bound > self.accuracy)

    @property
    def accuracy_reached(self) -> bool:
        """Whether the error bounds of all goals are within the accuracy."""
        return not self.shortfalls

    def impedance(self, frequency: float) -> np.ndarray:
        """Complex impedances in ohm between the coils at a frequency in hertz, phasors with exp(+j omega t); (coils, coils)."""
        omega = 2 * math.pi * frequency
        return np.diag(self.fine.resistance) + 1j * omega * self.fine.field.inductance(omega)[0]

    def ringing_frequency(self, bank: Bank, leads: Leads | None = None, branches: Sequence[Sequence[str]] | None = None) -> float:
        """1 / (2 pi sqrt(L C)) in hertz of a bank with the coils of the branches at rest, as a shot takes it for its mesh."""
        branches = branches or self.branches
        coils = [self.coils.index(name) for name in branches[0]]
        at_rest = self.fine.field.inductance(0.0)[0].real
        inductance = at_rest[np.ix_(coils, coils)].sum() / len(branches) + bank.inductance + (leads or Leads()).inductance
        return 1 / (2 * math.pi * math.sqrt(inductance * bank.capacitance))

    def discharge(self, bank: Bank | Sequence[Bank] | Mapping[str | tuple[str, ...], Bank | Sequence[Bank]], *, end_time: float,
                  crowbar: Crowbar | None = None, leads: Leads | None = None, motion: bool = False, heating: bool = False,
                  error_bounds: bool = True) -> ReducedShot:
        """Fire a bank, or several across the same coil leads, into the coils; or into each coil banks of its own.

        Parameters
        ----------
        bank : Bank, sequence of Bank, or mapping
            Each with its own gap and time.  In a mapping the banks of each coil by its name, or by the names of coils in series; all
            coils of the model have to stand in it.
        end_time : float
            Seconds.
        crowbar : Crowbar, optional
            A switch across coil leads or capacitor, of a single circuit.
        leads : Leads, optional
            Resistance and inductance between bank and coils; in several circuits those of each.
        motion, heating : bool, optional
            False: metal is held and cold.  Anything else is refused, for the model has neither.
        error_bounds : bool, optional
            Whether a companion on coarser cells bounds the errors, which takes as long again; without it no bound is known.

        Returns
        -------
        ReducedShot

        Raises
        ------
        InputError
            For arguments that cannot be, for motion and heating, and for a bank that rings faster than `frequency`.

        Examples
        --------
        >>> import fieldsolve as fs, geometries as geo
        >>> coil = geo.solenoid(turns=4, bore_radius=15.6e-3, wire_diameter=3e-3, pitch=3.3e-3, material=fs.material("copper"))
        >>> model = fs.reduce_section(geo.CrossSection([coil]), accuracy=3e-2)
        >>> run = model.discharge(fs.Bank(capacitance=120e-6, voltage=1e3, inductance=300e-9), end_time=5e-6)
        >>> print(f"{run.peak('current', 'coil') / 1e3:.1f} kA")
        5.7 kA
        """
        if isinstance(bank, PrescribedCurrents):
            raise InputError("bank: a reduced model takes banks; prescribed currents need fs.solve_shot")
        check_held(motion, heating)
        network = self._network(bank, end_time, leads or Leads(), crowbar)
        _check_impedances(network)
        self._check_frequency(network)
        trajectory = discharge(network, self.fine.field, self.fine.resistance, end_time)
        times = trajectory.times
        fine = self._result(network, self.fine, times, trajectory.at(times), trajectory.events, ())
        if not error_bounds:
            return fine
        companion = discharge(network, self.coarse.field, self.coarse.resistance, end_time)
        other = self._result(network, self.coarse, times, companion.at(times), companion.events, ())
        comparison = RunComparison(run=other, finer=False, factor=self.factor, typical=self.typical)
        return replace(fine, comparisons=(comparison,))

    def _network(self, bank, end_time: float, leads: Leads, crowbar: Crowbar | None) -> Network | SeparateCircuits:
        if not isinstance(bank, Mapping):
            return Network(checked_banks(bank, end_time), self.branches, leads, crowbar)
        if crowbar is not None:
            raise InputError("crowbar: with banks by coil it is not known whose it is: leave it out, or give one bank")
        branches = [(name,) if isinstance(name, str) else tuple(name) for name in bank]
        if sorted(name for branch in branches for name in branch) != sorted(self.coils):
            raise InputError(f"bank: it names {', '.join(map(' + '.join, branches)) or 'no coil'}; name each coil once: "
                             f"{', '.join(self.coils)}")
        return SeparateCircuits(tuple(Network(checked_banks(banks, end_time), (branch,), leads, None)
                                      for branch, banks in zip(branches, bank.values(), strict=True)))

    def _result(self, network: Network | SeparateCircuits, reduction: Reduction, times: np.ndarray, unknowns: tuple[np.ndarray, np.ndarray],
                events: tuple[tuple[float, str], ...], comparisons: tuple[RunComparison, ...]) -> ReducedShot:
        series = ReducedSeries(network, reduction.field, reduction.resistance, reduction.readings, *unknowns)
        history = History(times, series, tuple(time for time, _ in events))
        return ReducedShot(network=network, history=history, events=events, comparisons=comparisons, metal=self.metal, bodies=self.bodies)

    def _check_frequency(self, network: Network | SeparateCircuits) -> None:
        banks = [(bank, own) for own, _ in networks_of(network) for bank in own.banks]
        for name, (bank, own) in zip(network.bank_names, banks, strict=True):
            frequency = self.ringing_frequency(bank, own.leads, own.branches)
            if frequency > self.frequency:
                raise InputError(f"{name}: it rings at {frequency:.4g} Hz with the coils, above {self.frequency:.4g} Hz, up to which the "
                                 f"model holds: make it with fs.reduce_section(..., frequency={1.1 * frequency:.3g})")


def _check_impedances(network: Network | SeparateCircuits) -> None:
    """Refuse two of banks and crowbar that short each other: InputError."""
    for own, _ in networks_of(network):
        ways = dict(zip(own.bank_names, own.banks, strict=True))
        ways |= {"the crowbar": own.crowbar} if own.crowbar is not None and own.crowbar.across == "coil" else {}
        ideal = [name for name, way in ways.items() if way.resistance == 0 and way.inductance == 0]
        if len(ideal) > 1:
            raise InputError(f"{' and '.join(ideal)}: without resistance and inductance they short each other and no finite current flows: "
                             "give one of them some")


def check_held(motion, heating) -> None:
    """Refuse motion and heating, which a reduced model does not have: InputError."""
    for name, value in (("motion", motion), ("heating", heating)):
        if value:
            raise InputError(f"{name} = {value!r}: a reduced model holds metal still and cold: give {name}=False, or take fs.solve_shot")
