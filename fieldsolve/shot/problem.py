"""What a shot is computed from, as one frozen description that can be refined, copied and sent to another process."""
from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from fieldsolve.bounds import is_finite_number
from fieldsolve.circuit.bank import Bank, Crowbar, Leads
from fieldsolve.circuit.prescribed_currents import PrescribedCurrents
from fieldsolve.field.linear_algebra.solvers import LinearSolver
from fieldsolve.motion.contract import Motion
from fieldsolve.motion.defaults import cell_fineness, default_motions, refine_motions
from fieldsolve.motion.hoops.former import Former
from fieldsolve.motion.rigid import PrescribedMotion
from fieldsolve.ode import SDIRK2, Tableau
from fieldsolve.pickling import check_importable, declared_fields
from geometries.cross_section import CrossSection, check_cross_section
from geometries.errors import InputError
from geometries.mesh import Mesh

MIN_ACCURACY, MAX_ACCURACY = 1e-8, 0.5
COARSE_ACCURACY = 3e-3
COARSENING = 7.0            # of the error in time of a companion run, as its mesh, with cells twice as large, does in space
REFINEMENT = 4.0            # of the accuracy: about twice as many cells across and half as long steps


@dataclass(frozen=True)
class CaseText:
    """The case file that a shot came from: its name without folder, and its text as written."""

    name: str
    text: str

    def __repr__(self) -> str:
        return f"CaseText({self.name}, {len(self.text)} characters)"


@dataclass(frozen=True, eq=False, kw_only=True)
class ShotProblem:
    """The arguments of `solve_shot`, which says what each is; and `coarsening`, the factor on the error of the steps of a companion run.

    Raises InputError for an accuracy that makes no sense, and for a former beside motions that are given part by part.
    """

    section: CrossSection
    bank: Bank | Sequence[Bank] | PrescribedCurrents
    end_time: float
    motion: bool | Mapping[str, Motion] = True
    heating: bool = True
    accuracy: float = 3e-3
    circuit: Sequence[Sequence[str]] | None = None
    leads: Leads | None = None
    crowbar: Crowbar | None = None
    mesh_accuracy: float | None = None
    step: float | None = None
    mesh: Mesh | None = None
    former: Former | None = None
    method: Tableau = SDIRK2
    linear_solver: str | LinearSolver | None = None
    error_bounds: bool = True
    coarsening: float = 1.0

    def __post_init__(self) -> None:
        for name in ("accuracy", "mesh_accuracy"):
            value = getattr(self, name)
            if not (value is None and name == "mesh_accuracy") and not (is_finite_number(value) and MIN_ACCURACY <= value <= MAX_ACCURACY):
                shown = f"{value:g}" if isinstance(value, float) else repr(value)
                raise InputError(f"{name} = {shown}: give a relative accuracy from {MIN_ACCURACY:g} to {MAX_ACCURACY:g}, such as 3e-3")
        check_cross_section(self.section)
        if not isinstance(self.motion, (bool, Mapping)):
            raise InputError(f"motion = {self.motion!r}: give True, False, or the motion of each part by name")
        if not isinstance(self.method, Tableau):
            raise InputError(f"method = {self.method!r}: give a method of fieldsolve.ode, such as fieldsolve.ode.SDIRK2")
        if self.former is not None and not isinstance(self.motion, bool):
            raise InputError("former: it goes with motion=True; where each part's motion is given, give it to fs.HoopMotion(former=...)")

    def motions(self) -> tuple[dict[str, Motion], dict[str, str]]:
        """The motion of each part that moves, by name; and why a part that was to move is held still, by its name."""
        if self.motion is not True:
            return dict(self.motion or {}), {}
        return default_motions(self.section, self.former, cell_fineness(self.accuracy))

    def refined(self, end_time: float | None = None) -> ShotProblem:
        """The same shot to a quarter of the accuracy, on a mesh and with steps of its own; to another end time in seconds if given."""
        return replace(self, motion=refine_motions(self.motions()[0]), former=None, end_time=end_time or self.end_time,
                       accuracy=self.accuracy / REFINEMENT, mesh_accuracy=(self.mesh_accuracy or self.accuracy) / REFINEMENT,
                       step=self.step and self.step / 2, mesh=None, error_bounds=False)

    def coarsened(self, end_time: float) -> ShotProblem:
        """The companion to an end time in seconds: COARSENING times the error of the steps, cells of what flows twice as large."""
        growth = COARSENING ** (1 / self.method.order)
        return replace(self, motion=refine_motions(self.motions()[0], 0.5), former=None, end_time=end_time, error_bounds=False,
                       coarsening=growth**self.method.error_order, step=self.step and growth * self.step)

    @property
    def step_accuracy(self) -> float:
        """Relative accuracy of the steps: below COARSE_ACCURACY that of the shot, above it less than that, for few steps err more."""
        return self.coarsening * min(self.accuracy, math.sqrt(COARSE_ACCURACY * self.accuracy))

    def __repr__(self) -> str:
        motion = {True: "default", False: "none"}[self.motion] if isinstance(self.motion, bool) else ", ".join(self.motion) or "none"
        drive = "prescribed currents" if isinstance(self.bank, PrescribedCurrents) else "bank"
        return (f"ShotProblem({drive}, {len(self.section.parts)} parts, to {self.end_time:.6g} s, motion: {motion}, "
                f"accuracy {self.accuracy:g})")

    def __copy__(self) -> ShotProblem:
        return self

    def __deepcopy__(self, memo: dict) -> ShotProblem:
        return self

    def __getstate__(self) -> dict:
        if isinstance(self.bank, PrescribedCurrents):
            for name, current in self.bank.currents.items():
                check_importable(f"current of {name}", current)
        for name, motion in ({} if isinstance(self.motion, bool) else self.motion).items():
            if isinstance(motion, PrescribedMotion):
                check_importable(f"motion of {name}", motion.positions_at)
        return declared_fields(self)
