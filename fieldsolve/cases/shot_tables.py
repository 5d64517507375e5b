"""The tables of a case file that make a shot: banks, crowbar, leads and run, to objects in SI."""
from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Any

from fieldsolve.cases.case_file import Case, check_accuracy, check_keys
from fieldsolve.circuit.bank import Bank, Crowbar, Leads
from fieldsolve.errors import FieldError, InputError
from fieldsolve.motion.hoops.former import Former
from fieldsolve.rig.tables import FormerTable, LeadLayout, units_of
from fieldsolve.units import parse_quantity

BANK_KEYS = {"capacitance": "F", "voltage": "V", "resistance": "ohm", "inductance": "H", "arc_voltage": "V", "fires_at": "s",
             "rated_voltage": "V", "rated_reversal": "", "rated_current": "A"}
BANK_TABLES = ("bank", "second_bank")
CROWBAR_KEYS = {"resistance": "ohm", "inductance": "H", "fires_at": "s", "across": None}        # None: text
LEADS_KEYS = {"resistance": "ohm", "inductance": "H"}
FORMER_KEYS = units_of(FormerTable)
RIG_ONLY_KEYS = {"leads": tuple(units_of(LeadLayout))}         # keys of a table that a shot has no use for
RUN_KEYS = ("end_time", "motion", "heating", "accuracy")
EXAMPLES = {"capacitance": "'120 uF'", "voltage": "'6.5 kV'", "resistance": "'6 mohm'", "end_time": "'60 us'"}


@dataclass(frozen=True)
class ShotCase:
    """What a case file says of a shot, in SI.

    banks    the one, or both of them
    end_time seconds
    accuracy relative, or None where none is given
    former   what is round the turns, in a shot with moving metal
    """

    banks: tuple[Bank, ...]
    leads: Leads
    crowbar: Crowbar | None
    end_time: float
    motion: bool
    heating: bool
    accuracy: float | None
    former: Former | None = None


def read_shot_case(case: Case) -> ShotCase:
    """The tables [bank], [second_bank], [crowbar], [leads], [former] and [run] of a case.

    Raises InputError, with file, table, key, value and remedy, for what is missing, unknown or cannot be.
    """
    try:
        return _build_shot_case(case)
    except FieldError as error:
        raise type(error)(f"{case.path.name}: {error}") from error


def _build_shot_case(case: Case) -> ShotCase:
    if case.applied_field:
        raise InputError(f"[field] applied_field = {case.applied_field:g} T: a shot is computed without one; take it out")
    run = _checked_table(case, "run", RUN_KEYS, ("end_time",))
    end_time = parse_quantity(run["end_time"], "s", "[run] end_time")
    if end_time <= 0:
        raise InputError(f"[run] end_time = {run['end_time']!r}: must be larger than 0; give a time such as '60 us'")
    accuracy = check_accuracy(parse_quantity(run["accuracy"], "", "[run] accuracy"), "[run] accuracy") if "accuracy" in run else None
    return ShotCase(
        banks=read_banks(case), leads=read_leads(case),
        crowbar=_build_from_table(case, "crowbar", Crowbar, CROWBAR_KEYS, ("resistance",)) if "crowbar" in case.tables else None,
        end_time=end_time, motion=_read_boolean(run, "motion"), heating=_read_boolean(run, "heating"), accuracy=accuracy,
        former=_build_from_table(case, "former", Former, FORMER_KEYS) if "former" in case.tables else None,
    )


def solve_plan(section, plan: ShotCase, accuracy: float | None, progress: Callable[[float], None] | None = None):
    """The shot of a plan on its cross-section; `accuracy` None is the solver's default."""
    from fieldsolve.shot.solve import solve_shot

    return solve_shot(section, plan.banks, end_time=plan.end_time, motion=plan.motion, heating=plan.heating, leads=plan.leads,
                      crowbar=plan.crowbar, progress=progress, former=plan.former, **({} if accuracy is None else {"accuracy": accuracy}))


def read_banks(case: Case) -> tuple[Bank, ...]:
    """The one bank of a case, or both; InputError as `read_shot_case`, without the file's name."""
    names = [name for name in BANK_TABLES if name == "bank" or name in case.tables]
    return tuple(_build_from_table(case, name, Bank, BANK_KEYS, ("capacitance", "voltage")) for name in names)


def read_leads(case: Case) -> Leads:
    """The leads of a case, without resistance and inductance where it tells none; InputError as `read_banks`."""
    return _build_from_table(case, "leads", Leads, LEADS_KEYS) if "leads" in case.tables else Leads()


def _checked_table(case: Case, name: str, known: Iterable[str], required: Iterable[str] = ()) -> dict[str, Any]:
    """A table whose keys are all known and hold all that is needed."""
    table = case.tables.get(name, {})
    check_keys(f"[{name}]", table, (*known, *RIG_ONLY_KEYS.get(name, ())))
    for key in required:
        if key not in table:
            raise InputError(f"[{name}]: {key} is missing; a shot needs [{name}] with {key} = {EXAMPLES[key]}")
    return table


def _build_from_table(case: Case, name: str, component: type, units: dict[str, str | None], required: Iterable[str] = ()):
    """A Bank, Crowbar, Leads or Former from its table."""
    table = _checked_table(case, name, units, required)
    values = {key: value if units[key] is None else parse_quantity(value, units[key], f"[{name}] {key}")
              for key, value in table.items() if key in units}
    try:
        return component(**values)
    except InputError as error:
        raise InputError(f"[{name}] {str(error).removeprefix(f'{component.__name__.lower()}: ')}") from error


def _read_boolean(run: dict[str, Any], key: str) -> bool:
    value = run.get(key, True)
    if not isinstance(value, bool):
        raise InputError(f"[run] {key} = {value!r}: expected true or false")
    return value
