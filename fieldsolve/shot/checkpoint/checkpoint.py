"""What a run of a shot is between two steps."""
from __future__ import annotations

import time as clock
from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from fieldsolve.shot.instant import StoredInstant
from fieldsolve.shot.integrator.state import DischargeState
from fieldsolve.shot.problem import CaseText
from fieldsolve.shot.result.shot import Shot
from fieldsolve.shot.setup import ShotSetup


@dataclass(frozen=True)
class CaseOrigin:
    """The case file that a shot came from, None for none, and why its tables hold parts still, by their names."""

    text: CaseText | None = None
    fixed_parts: Mapping[str, str] = field(default_factory=dict)


NO_CASE = CaseOrigin()


@dataclass(frozen=True, eq=False, kw_only=True)
class MainRun:
    """A shot whose coarser companion is being run: the shot, and the ratio by which its errors in space are smaller."""

    shot: Shot
    ratio: float


@dataclass(frozen=True, eq=False, kw_only=True)
class Checkpoint:
    """A run between two steps: all that its further steps and its result depend on.

    Factors of matrices are made again of the matrices that were factored, and what follows from a mesh or a metal of itself: both have
    the same bits.  Everything else that the steps before have left is here.

    setup      the problem, its mesh, and the heat, the moving metal and the mesh as they are now
    state      field, circuit, switches, lengths of steps, what was extrapolated from, losses, events, counts of work
    entries    what is recorded so far: seconds, observables, and field and metal, of each step
    elapsed    seconds of computing so far
    main       the shot that this run is the companion of; None: it is the shot's own run
    origin     where the shot came from
    """

    setup: ShotSetup
    state: DischargeState
    entries: list[tuple[float, dict, StoredInstant | None]]
    elapsed: float
    main: MainRun | None = None
    origin: CaseOrigin = NO_CASE

    @property
    def is_finished(self) -> bool:
        """Whether nothing is left to be computed."""
        ended = self.state.time >= self.setup.problem.end_time * (1 - 1e-12) or bool(self.state.stop_reason)
        return ended and (self.main is not None or not (self.setup.problem.error_bounds and self.setup.shot_mesh))

    @property
    def resumed_setup(self) -> ShotSetup:
        """The set-up, its clock started as long ago as the run has computed so far."""
        return replace(self.setup, started=clock.perf_counter() - self.elapsed)
