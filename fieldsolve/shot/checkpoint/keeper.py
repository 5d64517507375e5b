"""When a run is kept: at its start, at every event, every few steps as far as that costs little, and at its end."""
from __future__ import annotations

import time as clock
import warnings
from dataclasses import dataclass, field
from pathlib import Path

from fieldsolve.errors import InputError
from fieldsolve.files import try_folder
from fieldsolve.shot.checkpoint.checkpoint import NO_CASE, CaseOrigin, Checkpoint, MainRun
from fieldsolve.shot.checkpoint.file import write_checkpoint
from fieldsolve.shot.integrator.discharge import Discharge
from fieldsolve.shot.setup import ShotSetup

STEPS = 10              # between two checkpoints, at least, where nothing happens
TIME_SHARE = 0.05       # of the time of a run that these may take, at most


@dataclass(eq=False)
class Keeper:
    """Writes the checkpoints of a shot to a file; it changes as the run goes on and leaves the run as it is.

    A disk that is full while the shot is computed costs a warning and not the shot: the last checkpoint stays.

    path    of the file
    origin  where the shot came from
    Raises InputError for a folder to which nothing can be written.
    """

    path: Path
    origin: CaseOrigin = NO_CASE
    _seen: tuple[MainRun | None, int] = (None, -1)
    _steps: int = 0
    _kept: tuple[MainRun | None, int] = (None, -1)
    _written: float = 0.0
    _cost: float = 0.0
    _warned: set[str] = field(default_factory=set)

    def __post_init__(self) -> None:
        self.path = Path(self.path)
        try:
            try_folder(self.path.resolve().parent)
        except OSError as error:
            raise InputError(f"checkpoint = {str(self.path)!r}: nothing can be written there ({error.strerror}); "
                             "give a name in a folder that is there and can be written to") from None
        if self.path.is_dir():
            raise InputError(f"checkpoint = {str(self.path)!r}: is a folder; give a file name")

    def after_step(self, setup: ShotSetup, main: MainRun | None, run: Discharge) -> None:
        """Keep a run that has just begun, or where something has happened in its last step, or it is time; never after a rejected step."""
        if (main, run.steps) == self._seen:
            return
        self._seen = main, run.steps
        happened = (main, len(run.state.events)) != self._kept
        due = run.steps - self._steps >= STEPS and TIME_SHARE * (clock.perf_counter() - self._written) >= self._cost
        if happened or due:
            self._write(setup, main, run)

    def finish(self, setup: ShotSetup, main: MainRun | None, run: Discharge) -> None:
        """Keep a run that has come to its end."""
        is_kept = (main, len(run.state.events)) == self._kept and run.steps == self._steps
        if not run.state.interrupted and not is_kept:
            self._write(setup, main, run)

    def _write(self, setup: ShotSetup, main: MainRun | None, run: Discharge) -> None:
        started = clock.perf_counter()
        checkpoint = Checkpoint(setup=setup, state=run.state, entries=run.recorder.entries, elapsed=started - setup.started, main=main,
                                origin=self.origin)
        try:
            not_kept = write_checkpoint(self.path, checkpoint)
        except OSError as error:
            self._warn(f"no checkpoint could be written to {self.path} ({error.strerror or error}): the shot goes on without")
        else:
            if not_kept:
                self._warn(f"{self.path.name} does not hold {'; '.join(not_kept)}: fs.resume_shot(path, given=...) takes it")
        self._steps, self._kept = run.steps, (main, len(run.state.events))
        self._written = clock.perf_counter()
        self._cost = self._written - started

    @classmethod
    def of(cls, checkpoint: str | Path | Keeper | None) -> Keeper | None:
        """What writes to a file of this name, or itself; None where nothing is to be kept."""
        return checkpoint if checkpoint is None or isinstance(checkpoint, cls) else cls(Path(checkpoint))

    def _warn(self, sentence: str) -> None:
        """Warn once of each."""
        if sentence not in self._warned:
            self._warned.add(sentence)
            warnings.warn(sentence, stacklevel=2)
