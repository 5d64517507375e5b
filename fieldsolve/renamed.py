"""Names of version 0.1 that changed, and the error that says the new one."""
from __future__ import annotations

import functools
from collections.abc import Callable
from typing import Any, NoReturn, TypeVar

Target = TypeVar("Target", bound=Callable[..., Any])

SINCE = "0.2"
NAMES = {                               # of the package: fs.NAME
    "GivenCurrents": "PrescribedCurrents",
    "GivenMotion": "PrescribedMotion",
    "FlowStress": "JohnsonCook",
    "bench_check": "bridge_check",
    "card_screen": "card_summary",
    "figures_of_shot": "shot_quantities",
    "material_sheet": "material_data",
    "moving_figures": "moving_shot_quantities",
}
KEYWORDS = {                            # by function or class
    "solve_static": {"figures": "goals"},
    "solve_harmonic": {"figures": "goals"},
    "Material": {"magnetization": "bh_curve"},
}
ATTRIBUTES = {                          # by class
    "Card": {"figures": "quantities"},
    "Rig": {"lead_layout": "leads"},
    "ShotQuantities": {"left_on_bank": "residual_voltage"},
    "MovingShotQuantities": {"fastest": "largest_speed", "latest": "latest_burst_time", "ended": "stop_reason"},
    "Material": {"magnetization": "bh_curve"},
    "Thermal": {"melts": "melting_range", "boils": "boiling_range"},
    "Frohlich": {"half_way": "half_saturation_field"},
    "Former": {"hoop": "stiffness_and_break_strain", "share": "portion"},
    "PrescribedMotion": {"places_at": "positions_at"},
    "Shot": {"again": "refined", "fields": "instants", "ended": "stop_reason", "beyond": "validity_end", "beyond_why": "validity_reason",
             "held_parts": "fixed_parts", "renewals": "remesh_count", "inductance_seen": "apparent_inductance"},
    "EnergyBalance": {"at_end": "final_energies", "lost": "imbalance_time", "finer": "errors", "watched": "monitored"},
    "Departure": {"coasts": "extrapolated"},
    "ShotField": {"finer": "compared", "usual": "compared"},
    "Transient": {"again": "refined", "fields": "instants"},
}
COMMANDS = {"bench": "bridge"}          # fieldsolve COMMAND


def renamed_text(old: str, new: str) -> str:
    """What the error says.

    >>> renamed_text("fs.GivenCurrents", "fs.PrescribedCurrents")
    'fs.GivenCurrents is called fs.PrescribedCurrents since 0.2'
    """
    return f"{old} is called {new} since {SINCE}"


def renamed_error(old: str, new: str) -> Exception:
    """The error: an AttributeError and a TypeError of this package."""
    from fieldsolve.errors import RenamedError

    return RenamedError(renamed_text(old, new))


def old_attributes(class_name: str) -> Callable[[Any, str], NoReturn]:
    """The `__getattr__` of a class: it says the new name of an attribute that changed its own."""
    names = ATTRIBUTES[class_name]

    def missing(self: Any, name: str) -> NoReturn:
        if name in names:
            raise renamed_error(f"{class_name}.{name}", f"{class_name}.{names[name]}")
        raise AttributeError(f"{type(self).__name__!r} object has no attribute {name!r}")
    return missing


def refuse_old_keywords(target: Target) -> Target:
    """Decorator of a function or a class: it says the new name of a keyword that changed its own."""
    names, function = KEYWORDS[target.__name__], target.__init__ if isinstance(target, type) else target

    @functools.wraps(function)
    def called(*arguments: Any, **keywords: Any) -> Any:
        for old in names.keys() & keywords.keys():
            raise renamed_error(f"{old}= of fs.{target.__name__}", f"{names[old]}=")
        return function(*arguments, **keywords)
    if not isinstance(target, type):
        return called
    target.__init__ = called
    return target
