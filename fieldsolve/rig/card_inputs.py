"""What a card is made from: a rig and what was computed of its shot; and what each check needs of that."""
from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from fieldsolve.rig.coil import turn_area
from fieldsolve.rig.formulas.exposure import loop_moment
from fieldsolve.rig.from_shot import BankQuantities, MovingShotQuantities, ShotQuantities
from fieldsolve.rig.rig import Rig, lead_loop_area, require_banks
from fieldsolve.rig.tables import MissingInput
from geometries.errors import InputError

if TYPE_CHECKING:
    from fieldsolve.motion.hoops.hoops import Burst

LARGEST_ENERGY_LEFT = 0.1                # of the banks' energy: more may not be left where heat is judged


@dataclass(frozen=True)
class CardInputs:
    """A rig and what was computed of it, in SI; what is None was not computed, and what needs it is not assessed.

    shot             quantities of the shot that the checks judge, with the metal held as a rule
    moving_shot      quantities of the shot with moving metal
    coil_inductance  of the coils in series, empty, at 10 kHz, henry
    Raises InputError where rig and shot have not the same number of banks.
    """

    rig: Rig
    shot: ShotQuantities | None = None
    moving_shot: MovingShotQuantities | None = None
    coil_inductance: float | None = None

    def __post_init__(self) -> None:
        if self.shot is not None and len(self.shot.banks) != len(self.rig.banks):
            raise InputError(f"shot: it has {len(self.shot.banks)} banks, the rig {len(self.rig.banks)}: give the shot of this rig")


def require_shot(inputs: CardInputs) -> ShotQuantities:
    """Quantities of the shot; MissingInput where there is none, or it ended early."""
    require_banks(inputs.rig)
    if inputs.shot is None:
        raise MissingInput("a computed shot: [run] end_time and a coil")
    if inputs.shot.interrupted:
        raise MissingInput("a shot that runs to its end: this one was interrupted")
    return inputs.shot


def require_moving_shot(inputs: CardInputs) -> MovingShotQuantities:
    """Quantities of the shot with moving metal; MissingInput where there is none."""
    require_banks(inputs.rig)
    if inputs.moving_shot is None:
        raise MissingInput("a computed shot with moving turns: [run] motion = true, and a coil of solid turns with mechanical data")
    return inputs.moving_shot


def require_burst(inputs: CardInputs) -> Burst:
    """The coil that bursts first; MissingInput where none does before the shot's end."""
    moving_shot = require_moving_shot(inputs)
    if moving_shot.burst is None:
        raise MissingInput(
            f"a turn that reaches the strain its metal breaks at; none does in the {1e6 * moving_shot.end_time:.4g} us computed"
        )
    return moving_shot.burst


def require_settled_banks(inputs: CardInputs) -> tuple[BankQuantities, ...]:
    """Peak current and reversal of each bank; MissingInput where the shot is too short for them."""
    shot = require_shot(inputs)
    if not all(bank.settled for bank in shot.banks):
        raise MissingInput(f"[run] end_time beyond the first current zero of every bank, later than {1e6 * shot.end_time:.4g} us")
    return shot.banks


def require_spent_shot(inputs: CardInputs) -> ShotQuantities:
    """Quantities of a shot whose energy is all but spent, for what adds up over it; MissingInput where much is left."""
    shot = require_shot(inputs)
    if not shot.energy_left <= LARGEST_ENERGY_LEFT:
        raise MissingInput(
            f"[run] end_time later than {1e6 * shot.end_time:.4g} us: {100 * shot.energy_left:.3g} % of the energy is still to "
            f"come, at most {100 * LARGEST_ENERGY_LEFT:g} % may"
        )
    return shot


def stray_magnetic_moment(inputs: CardInputs) -> float:
    """Largest magnetic moment of leads and coil together in A m^2:  I A_loop + I sum of pi r^2 over the turns, disc left out."""
    shot = require_shot(inputs)
    return loop_moment(shot.coil_current, lead_loop_area(inputs.rig) + sum(turn_area(coil) for coil in inputs.rig.coils))


def overstatement(inputs: CardInputs) -> str:
    """The end of a reason: that held metal overstates it, where the shot's metal is held."""
    return "; held metal overstates it" if inputs.shot.held else ""
