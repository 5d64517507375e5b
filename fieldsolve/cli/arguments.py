"""Options that several commands share: the case file, the accuracy, the JSON file."""
from __future__ import annotations

import argparse
from collections.abc import Callable


def add_command(commands, name: str, run: Callable[[argparse.Namespace], int | None], summary: str, description: str):
    """A command of the parser; its options cannot be shortened."""
    command = commands.add_parser(name, help=summary, description=description, allow_abbrev=False)
    command.set_defaults(run=run)
    return command


def add_case(command: argparse.ArgumentParser) -> None:
    """The case file."""
    command.add_argument("case", metavar="CASE.toml", help="the case file")


def add_accuracy(command: argparse.ArgumentParser, default: str, bounded: str) -> None:
    """The accuracy, relative, of what is `bounded`, with its default as text."""
    command.add_argument("--accuracy", metavar=default, help=f"relative, of {bounded} (default: the case's, else {default})")


def add_json(command: argparse.ArgumentParser, more: str = "") -> None:
    """The JSON file."""
    command.add_argument("--json", metavar="FILE", help=f"write the results as JSON, in SI units{more}")


def chosen_accuracy(argument: str | None, case_accuracy: float | None) -> float | None:
    """The requested accuracy, or else the case's, None where neither gives one."""
    from fieldsolve.cases.table_keys import check_accuracy
    from fieldsolve.units import parse_quantity

    return case_accuracy if argument is None else check_accuracy(parse_quantity(argument, "", "--accuracy"), "--accuracy")
