"""The go / no-go card of a rig: every check, the workshop's figures, and the verdict that is never 'safe'."""
from __future__ import annotations

import math
from dataclasses import dataclass

from fieldsolve.errors import InputError, suggestion
from fieldsolve.rig.checks import bank as bank_checks
from fieldsolve.rig.checks import coil as coil_checks
from fieldsolve.rig.checks import people
from fieldsolve.rig.checks.rule import NOT_ASSESSED, OUTSIDE, Check, apply_rule
from fieldsolve.rig.formulas.bleeder import SAFE_VOLTAGE
from fieldsolve.rig.quantities import QUANTITIES, RigQuantity, evaluate_quantity
from fieldsolve.rig.rig import Rig

RULES = (*bank_checks.RULES, *people.RULES, *coil_checks.RULES)
LIMIT_UNITS = {rule.name: "" if rule.unit == "dB" else rule.unit for rule in RULES if not isinstance(rule.limit, bool)}
CAUTIONS = (
    "Local codes, the standards themselves, licensed practice and a competent person on site prevail over anything printed here. "
    "This card authorises no shot.",
    "A charged bank kills. Nobody comes near one that was charged or has misfired before it has been dumped, the bleeder has had its time, "
    "and the terminals are proven dead with a meter that was itself proven before and after.",
    "Then short it: first through a resistor, then solid; the stick stays on the highest terminal. Capacitors recover charge.",
    "Every entry of the case file is taken as told: nothing here has been measured. Currents are computed for metal held still, "
    "constant arc voltage and axial symmetry; model and test agree no better than 10 to 20 % (common practice).",
    "Bushings, hinges, windows, lids and slots are the weak points of a box; polycarbonate alone is no wall; a disc off-centre flies too.",
    "Marks: 'read' in the source that is numbered, often an excerpt; 'from memory' of it, not confirmed there; 'common practice' has no "
    "source; 'computed' by a closed form or by this program; 'as told' in the case file.",
)


@dataclass(frozen=True)
class Card:
    """What came out: `checks` in the order of RULES, `figures` of the workshop, `cautions` that stand before all of it."""

    checks: tuple[Check, ...]
    quantities: tuple[RigQuantity, ...]
    cautions: tuple[str, ...]

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


def rig_card(rig: Rig) -> Card:
    """Apply every check to a rig and take its figures.

    Raises InputError for a limit of no check, or one that is no number above 0 (0 or more for what must be at most it).
    """
    for name, limit in rig.limits.items():
        check_limit(name, limit)
    checks = [apply_rule(rule, rig) for rule in RULES]
    return Card(tuple(check for check in checks if check is not None), tuple(evaluate_quantity(rule, rig) for rule in QUANTITIES),
                (*_live_bank_cautions(rig), *_burst_cautions(rig), *CAUTIONS))


def _live_bank_cautions(rig: Rig) -> list[str]:
    """The caution that a shot does not empty the bank, where the computed one did not."""
    if rig.shot is None or not rig.shot.residual_voltage > SAFE_VOLTAGE:
        return []
    return [f"The shot does not empty the bank: it is LIVE, at {rig.shot.residual_voltage:.0f} V, at the end of the computed record, "
            f"{1e6 * rig.shot.end_time:.4g} us."]


def _burst_cautions(rig: Rig) -> list[str]:
    """The caution that the coil bursts, or what ended the motion, where the computed shot says so."""
    moving_shot, cautions = rig.moving_shot, []
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
