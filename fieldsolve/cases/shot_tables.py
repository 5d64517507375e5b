"""The tables of a case file that make a shot: banks with their ratings, crowbar, leads, former and run, to objects in SI."""
from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

from fieldsolve.bounds import check_accuracy, check_end_time
from fieldsolve.cases.table_keys import read_values
from fieldsolve.circuit.bank import Bank, Crowbar, Leads
from fieldsolve.errors import InputError
from fieldsolve.motion.hoops.former import Former
from fieldsolve.rig.entries import check_boolean, check_fraction, check_positive

BANK_TABLES = ("bank", "second_bank")
RATING_CHECKS: dict[str, Callable[[str, Any], float]] = {
    "rated_voltage": check_positive, "rated_reversal": check_fraction, "rated_current": check_positive}
REQUIRED = {"bank": {"capacitance": "'120 uF'", "voltage": "'6.5 kV'"}, "second_bank": {"capacitance": "'120 uF'", "voltage": "'6.5 kV'"},
            "crowbar": {"resistance": "'6 mohm'"}, "run": {"end_time": "'60 us'"}}              # keys that a shot needs, with examples

Tables = dict[str, dict[str, Any]]


@dataclass(frozen=True)
class RunSettings:
    """What a case says of the run of its shot, in SI.

    end_time  seconds, or None where none is given: then there is no shot
    motion, heating  whether metal moves, and heats
    accuracy  relative, or None where none is given
    """

    end_time: float | None = None
    motion: bool = True
    heating: bool = True
    accuracy: float | None = None


def read_run_settings(tables: Tables) -> RunSettings:
    """The table [run], the defaults where there is none.

    Raises InputError, with table, key, value and remedy, as all functions here do.
    """
    values = read_values(tables, "run")
    if "end_time" in values:
        check_end_time(values["end_time"], "[run] end_time")
    if "accuracy" in values:
        check_accuracy(values["accuracy"], "[run] accuracy")
    for key in ("motion", "heating"):
        check_boolean(f"[run] {key}", values.get(key, True))
    return RunSettings(**values)


def read_banks(tables: Tables) -> tuple[Bank, ...]:
    """The banks with their ratings; none where [bank] is not there or lacks what a shot needs.

    [capacitor] holds the ratings of all banks.  Where a bank has a rating of its own as well, the lower one counts.
    """
    ratings = _read_ratings(tables)
    values = {name: read_values(tables, name) for name in BANK_TABLES if name in tables}
    if missing_keys(tables, "bank"):
        return ()
    for name in values:
        require_keys(tables, name)
    return tuple(_with_lower_ratings(_build(name, Bank, given), ratings) for name, given in values.items())


def _read_ratings(tables: Tables) -> dict[str, float]:
    """What the makers of all banks allow."""
    return {key: RATING_CHECKS[key](f"[capacitor] {key}", value) for key, value in read_values(tables, "capacitor").items()}


def _with_lower_ratings(bank: Bank, ratings: dict[str, float]) -> Bank:
    return replace(bank, **{key: min(rating, getattr(bank, key) or rating) for key, rating in ratings.items()})


def read_leads(tables: Tables) -> Leads:
    """The leads, without resistance and inductance where there is no table."""
    return _build("leads", Leads, read_values(tables, "leads"))


def read_crowbar(tables: Tables) -> Crowbar | None:
    """The crowbar, None where there is no table."""
    if "crowbar" not in tables:
        return None
    values = read_values(tables, "crowbar")
    require_keys(tables, "crowbar")
    return _build("crowbar", Crowbar, values)


def read_former(tables: Tables) -> Former | None:
    """What the coils are wound on or cast in, None where there is no table."""
    return _build("former", Former, read_values(tables, "former")) if "former" in tables else None


def missing_keys(tables: Tables, name: str) -> list[str]:
    """Keys of a table that a shot cannot do without, and that are not there."""
    return [key for key in REQUIRED[name] if key not in tables.get(name, {})]


def require_keys(tables: Tables, *names: str) -> None:
    """Refuse tables that lack what a shot needs: InputError."""
    for name in names:
        for key in missing_keys(tables, name):
            raise missing_key(name, key)


def missing_key(name: str, key: str) -> InputError:
    """The error for a key that a shot cannot do without."""
    return InputError(f"[{name}]: {key} is missing; a shot needs [{name}] with {key} = {REQUIRED[name][key]}")


def _build(name: str, component: type, values: dict[str, Any]):
    """A Bank, Crowbar, Leads or Former of its values."""
    try:
        return component(**values)
    except InputError as error:
        raise InputError(f"[{name}] {str(error).removeprefix(f'{component.__name__.lower()}: ')}") from error
