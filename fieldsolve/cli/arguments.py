"""Options that several commands share: the case file, the accuracy, the JSON file."""
from __future__ import annotations

import argparse
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from fieldsolve.cli.outputs import add_force

if TYPE_CHECKING:
    from fieldsolve.cases.case_file import Case


def add_command(commands, name: str, run: Callable[[argparse.Namespace], int | None], summary: str, description: str):
    """A command of the parser; its options cannot be shortened.  A % stands twice in the summary, once in the description."""
    command = commands.add_parser(name, help=summary, description=description, allow_abbrev=False)
    command.set_defaults(run=run)
    return command


def add_case(command: argparse.ArgumentParser, optional: bool = False) -> None:
    """The case file, and changes to it."""
    command.add_argument("case", metavar="CASE.toml", help="the case file", **{"nargs": "?"} if optional else {})
    command.add_argument("--set", metavar="KEY=VALUE", action="append", default=[],
                         help="change the case for this run, such as bank.voltage=\"7 kV\"; again for another; KEY= takes the key out")


def read_changed_case(options: argparse.Namespace) -> Case:
    """The case of the case file with the changes of --set."""
    from fieldsolve.cases.case_file import read_case

    case = read_case(options.case)
    return case.with_values(dict(map(_read_change, options.set))) if options.set else case


def _read_change(text: str) -> tuple[str, Any]:
    """Key and value of a change, the value as TOML where it is that, else as text; None where there is none."""
    import tomllib

    from fieldsolve.errors import InputError

    key, separator, value = (part.strip() for part in text.partition("="))
    if not key or not separator:
        raise InputError(f"--set {text}: expected a key and a value, such as bank.voltage=\"7 kV\"")
    if not value:
        return key, None
    try:
        return key, tomllib.loads(f"value = {value}")["value"]
    except (tomllib.TOMLDecodeError, ValueError, RecursionError):
        return key, value


def add_accuracy(command: argparse.ArgumentParser, default: str, bounded: str) -> None:
    """The accuracy, relative, of what is `bounded`, with its default as text."""
    command.add_argument("--accuracy", metavar=default, help=f"relative, of {bounded} (default: the case's, else {default})")


def add_json(command: argparse.ArgumentParser, more: str = "") -> None:
    """The JSON file."""
    command.add_argument("--json", metavar="FILE.json", help=f"write the results as JSON, in SI units{more}; - for the screen")
    add_force(command)


def number_or_text(text: str) -> float | str:
    """A bare number of an option as a number, which is SI, as in a case file; else its text."""
    try:
        return float(text)
    except ValueError:
        return text


def separate_values(texts: list[str]) -> list[float | str]:
    """The values of an option that takes several, by commas or by repeating."""
    return [number_or_text(value) for text in texts for value in text.split(",")]


def chosen_accuracy(argument: str | None, case_accuracy: float | None) -> float | None:
    """The requested accuracy, or else the case's, None where neither gives one."""
    from fieldsolve.bounds import check_accuracy
    from fieldsolve.units import parse_quantity

    return case_accuracy if argument is None else check_accuracy(parse_quantity(argument, "", "--accuracy"), "--accuracy")
