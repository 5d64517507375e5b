"""The card of a row: what its checks judge, kept as plain data with the run, and the columns that come of it."""
from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict
from typing import Any

from fieldsolve.cases.case_file import Case, read_rig
from fieldsolve.motion.hoops.hoops import Burst
from fieldsolve.rig.card import Card, rig_card
from fieldsolve.rig.from_shot import BankQuantities, MovingShotQuantities, ShotQuantities, moving_shot_quantities, shot_quantities

VERDICT = "card"                # the column of the verdict in words


def pack_card_inputs(shot: Any, moving_shot: Any, coil_inductance: float | None) -> dict[str, Any]:
    """What a card takes from a held and a moving shot, as plain data; None for what there is not."""
    quantities = None if shot is None else shot_quantities(shot)
    moving = None if moving_shot is None else moving_shot_quantities(moving_shot)
    return {"shot": quantities and asdict(quantities), "moving_shot": moving and asdict(moving),
            "coil_inductance": None if coil_inductance is None else float(coil_inductance)}


def card_of(case: Case, packed: Mapping[str, Any]) -> Card:
    """The card of a case from what `pack_card_inputs` has kept of its shots, dated today."""
    shot, moving = packed["shot"], packed["moving_shot"]
    return rig_card(read_rig(case), shot and ShotQuantities(**{**shot, "banks": tuple(BankQuantities(**bank) for bank in shot["banks"])}),
                    moving and MovingShotQuantities(**{**moving, "burst": moving["burst"] and Burst(**moving["burst"])}),
                    packed["coil_inductance"])


def card_columns(card: Card) -> dict[str, Any]:
    """Verdict, and value and margin of every check that is a number and was assessed, under its name below [limits].

    A margin is the room that is left as a share of the limit, negative where the limit is exceeded.
    """
    columns: dict[str, Any] = {VERDICT: card.verdict}
    for check in (check for check in card.checks if check.value is not None and not isinstance(check.limit, bool)):
        columns |= {check.name: check.value, f"margin of {check.name}": check.margin}
    return columns
