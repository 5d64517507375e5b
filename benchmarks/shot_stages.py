"""Where a shot's time goes: seconds of processor time in the functions that make up its stages."""
from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field
from functools import wraps
from pkgutil import resolve_name
from unittest.mock import patch

# each stage and the functions it is made up of; what one of them calls in another counts for the other
STAGES = {
    "first mesh": ("fieldsolve.shot.setup.shot_mesh",),
    "mechanics": ("fieldsolve.motion.movement.Movement.predict", "fieldsolve.motion.movement.Movement.accept"),
    "places of the nodes": ("fieldsolve.motion.movement.Movement.mesh_at", "fieldsolve.motion.movement.Movement.is_well_shaped",
                            "fieldsolve.motion.movement.Movement.describe_contact"),
    "air meshed anew": ("fieldsolve.motion.movement.Movement.remesh_air",),
    "matrices": ("fieldsolve.field.system.eddy_current.EddySystem.moved", "fieldsolve.shot.setup.shot_system",
                 "fieldsolve.field.system.eddy_current.EddySystem.with_conductivity"),
    "factor": ("fieldsolve.field.linear_algebra.cholesky.Cholmod.factorize", "fieldsolve.field.linear_algebra.superlu.SuperLU.factorize"),
    "solve": ("fieldsolve.shot.integrator.field_circuit.FieldCircuit.solve_stage",
              "fieldsolve.field.linear_algebra.solvers.Factor.back_substitution"),
    "error of a step": ("fieldsolve.shot.integrator.discharge.relative_error",),
    "readings": ("fieldsolve.shot.integrator.discharge.Discharge._record",),
}


@dataclass
class StageClock:
    """Seconds of processor time by stage, each without the stages called from it."""

    seconds: dict[str, float] = field(default_factory=lambda: dict.fromkeys(STAGES, 0.0))
    running: list[str] = field(default_factory=list)
    since: float = 0.0

    def switch(self) -> None:
        """Count the time since the last switch for the stage that runs."""
        now = time.process_time()
        if self.running:
            self.seconds[self.running[-1]] += now - self.since
        self.since = now

    def timed(self, stage: str, function: Callable) -> Callable:
        """The function, its time counted for a stage."""
        @wraps(function)
        def run(*arguments, **options):
            self.switch()
            self.running.append(stage)
            try:
                return function(*arguments, **options)
            finally:
                self.switch()
                self.running.pop()
        return run


@contextmanager
def stages_timed() -> Iterator[dict[str, float]]:
    """Seconds by stage, filled in while the context lasts."""
    clock = StageClock()
    with ExitStack() as stack:
        for stage, names in STAGES.items():
            for name in names:
                path, _, attribute = name.rpartition(".")
                owner = resolve_name(path)
                stack.enter_context(patch.object(owner, attribute, clock.timed(stage, getattr(owner, attribute))))
        yield clock.seconds
