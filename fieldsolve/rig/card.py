"""The go / no-go card of a rig: every check, the workshop's quantities, and the verdict that is never 'safe'."""
from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from fieldsolve.errors import InputError, suggestion
from fieldsolve.renamed import old_attributes
from fieldsolve.rig.card_inputs import CardInputs
from fieldsolve.rig.checks import bank as bank_checks
from fieldsolve.rig.checks import coil as coil_checks
from fieldsolve.rig.checks import people as people_checks
from fieldsolve.rig.checks.rule import NOT_ASSESSED, OUTSIDE, Check, apply_rule
from fieldsolve.rig.formulas.bleeder import SAFE_VOLTAGE
from fieldsolve.rig.from_shot import MovingShotQuantities, ShotQuantities, moving_shot_quantities, shot_quantities
from fieldsolve.rig.quantities import bank, coil, instruments, people
from fieldsolve.rig.quantities.rule import RigQuantity, evaluate_quantity
from fieldsolve.rig.rig import Rig
from geometries.keywords import known_keywords

if TYPE_CHECKING:
    from fieldsolve.shot.result.shot import Shot

RULES = (*bank_checks.RULES, *people_checks.RULES, *coil_checks.RULES)
QUANTITIES = (*bank.QUANTITIES, *coil.QUANTITIES, *people.QUANTITIES, *instruments.QUANTITIES)
CHECK_UNITS = {rule.name: rule.unit for rule in RULES}
LIMIT_UNITS = {rule.name: "" if rule.unit == "dB" else rule.unit for rule in RULES if not isinstance(rule.limit, bool)}
CAUTIONS = (
    "Local codes, the standards themselves, licensed practice and a competent person on site prevail over anything printed here. "
    "This card authorises no shot.",
    "A charged bank kills. Nobody comes near one that was charged or has misfired before it has been dumped, the bleeder has had its time, "
    "and the terminals are proven dead with a meter that was itself proven before and after.",
    "Then short it: first through a resistor, then solid; the stick stays on the highest terminal. Capacitors recover charge.",
    "Every entry of the case file is taken as given: nothing here has been measured. Currents are computed for metal held still, "
    "constant arc voltage and axial symmetry; model and test agree no better than 10 to 20 % (common practice).",
    "Bushings, hinges, windows, lids and slots are the weak points of a box; polycarbonate alone is no wall; a disc off-centre flies too.",
    "Marks: 'read' in the source that is numbered, often an excerpt; 'from memory' of it, not confirmed there; 'common practice' has no "
    "source; 'computed' by a closed form or by this program; 'as given' in the case file.",
)


@dataclass(frozen=True)
class Card:
    """What came out.

    checks      one for each rule that concerns the rig, in the order of RULES
    quantities  of the workshop, in the order of QUANTITIES
    cautions    that stand before all of it
    """

    checks: tuple[Check, ...]
    quantities: tuple[RigQuantity, ...]
    cautions: tuple[str, ...]

    __getattr__ = old_attributes("Card")

    @property
    def stopped(self) -> bool:
        """Whether a hard stop is outside."""
        return any(check.hard and check.verdict == OUTSIDE for check in self.checks)

    @property
    def incomplete(self) -> bool:
        """Whether anything was not assessed."""
        return any(check.verdict == NOT_ASSESSED for check in self.checks)

    @property
    def verdict(self) -> str:
        """In words; the best there is: 'within the limits stated here'."""
        hard = sum(check.hard and check.verdict == OUTSIDE for check in self.checks)
        missing = sum(check.verdict == NOT_ASSESSED for check in self.checks)
        warnings = sum(not check.hard and check.verdict == OUTSIDE for check in self.checks)
        changed = sum(check.default is not None for check in self.checks)
        if hard:
            verdict = f"OUTSIDE: {_counted(hard, 'hard stop')} outside the limits stated here"
        elif missing:
            verdict = "NOT ASSESSED in full"
        else:
            verdict = "within the limits stated here"
        more = [f"{_counted(missing, 'check')} not assessed"] * bool(missing) + [f"{_counted(warnings, 'warning')} outside"] * bool(
            warnings
        )
        more += [f"{_counted(changed, 'limit')} not the default"] * bool(changed)
        return "; ".join([verdict, *more])


def _counted(number: int, word: str) -> str:
    return f"{number} {word}{'' if number == 1 else 's'}"


@known_keywords
def rig_card(rig: Rig, shot: Shot | ShotQuantities | None = None, moving_shot: Shot | MovingShotQuantities | None = None,
             coil_inductance: float | None = None) -> Card:
    """Apply every check to a rig and what was computed of it.  Nothing is computed here.

    Parameters
    ----------
    rig : Rig
        From `read_rig`, or built by hand.
    shot : Shot or ShotQuantities, optional
        The shot that the checks judge.  Held metal overstates currents and forces, so give a shot with the metal held.
    moving_shot : Shot or MovingShotQuantities, optional
        The shot with moving metal.  It says when the coil bursts and how fast its turns are; no limit is eased by it.
    coil_inductance : float, optional
        Of the coils in series, all else taken away, at 10 kHz, in henry: `empty_inductance(rig.section, rig.coils)`.

    What is left out is not assessed.  `solve_rig_shots` computes all three for a case.

    Returns
    -------
    Card
        Its checks and quantities say of which run they are: `run` is 'held', 'moving' or None.

    Raises
    ------
    InputError
        For a limit of no check, a limit that is no number above 0 (for 'at most', 0 or more), or a shot of another rig.

    Examples
    --------
    >>> import fieldsolve as fs
    >>> rig = fs.read_rig({"coil": {"shape": "ring", "radius": "20 mm", "wire_diameter": "2 mm", "material": "copper"}})
    >>> rig_card(rig).incomplete        # a coil alone: nothing is known of bank, bleeder and box
    True
    """
    for name, limit in rig.limits.items():
        check_limit(name, limit)
    inputs = CardInputs(rig, _as_quantities(shot, ShotQuantities, shot_quantities),
                        _as_quantities(moving_shot, MovingShotQuantities, moving_shot_quantities), coil_inductance)
    checks = [apply_rule(rule, inputs) for rule in RULES]
    return Card(tuple(check for check in checks if check is not None), tuple(evaluate_quantity(rule, inputs) for rule in QUANTITIES),
                (*_live_bank_cautions(inputs), *_run_cautions(inputs), *_burst_cautions(inputs), *CAUTIONS))


def _as_quantities(shot, quantities: type, from_shot: Callable):
    return shot if shot is None or isinstance(shot, quantities) else from_shot(shot)


def _live_bank_cautions(inputs: CardInputs) -> list[str]:
    """The caution that a shot does not empty the bank, by the larger voltage of the computed shots."""
    shots = [shot for shot in (inputs.shot, inputs.moving_shot) if shot is not None]
    worst = max(shots, key=lambda shot: shot.residual_voltage, default=None)
    if worst is None or not worst.residual_voltage > SAFE_VOLTAGE:
        return []
    return [f"The shot does not empty the bank: it is LIVE, at up to {worst.residual_voltage:.0f} V, at the end of the computed shot, "
            f"{1e6 * worst.end_time:.4g} us."]


def _run_cautions(inputs: CardInputs) -> list[str]:
    """The caution that the checks judge a shot with moving metal, where they do."""
    if inputs.shot is None or inputs.shot.held:
        return []
    return ["The checks judge a shot with moving metal: with the metal held, currents and forces come out larger."]


def _burst_cautions(inputs: CardInputs) -> list[str]:
    """The caution that the coil bursts, or what ended the motion, where the computed shot says so."""
    moving_shot, cautions = inputs.moving_shot, []
    if moving_shot is not None and moving_shot.burst is not None:
        cautions.append(
            f"{moving_shot.burst.turn} may break from {1e6 * moving_shot.burst.time:.3g} us on in the shot with moving metal: what follows "
            "is beyond the model; treat the bank as charged."
        )
    if moving_shot is not None and moving_shot.stop_reason:
        cautions.append(
            f"The shot with moving metal ends early, at {1e6 * moving_shot.end_time:.3g} us: {moving_shot.stop_reason}. What comes after "
            "is not known."
        )
    return cautions


def check_limit(name: str, limit: float) -> None:
    """Refuse a limit that cannot stand in place of a default: InputError."""
    if name not in LIMIT_UNITS:
        unchangeable = any(rule.name == name for rule in RULES)
        raise InputError(f"[limits] {name} = {limit!r}: " + ("must be so, there is no number to change; take it out" if unchangeable else
                                                             f"unknown limit; {suggestion(name, LIMIT_UNITS)}"))
    lowest = 0.0 if name == "bleeder_test_age" else math.ulp(0.0)
    if isinstance(limit, bool) or not isinstance(limit, (int, float)) or not math.isfinite(limit) or limit < lowest:
        raise InputError(f"[limits] {name} = {limit!r}: must be a finite number {'of 0 or more' if lowest == 0 else 'above 0'}; "
                         "take it out for the default")
