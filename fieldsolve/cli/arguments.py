"""Arguments that several commands share: the case file, the accuracy, the JSON file."""
from __future__ import annotations

import argparse

from fieldsolve.cases.case_file import check_accuracy
from fieldsolve.units import parse_quantity


def add_case(command: argparse.ArgumentParser) -> None:
    """The case file."""
    command.add_argument("case", metavar="CASE.toml", help="the case file")


def add_accuracy(command: argparse.ArgumentParser, default: str, bounded: str) -> None:
    """The accuracy, relative, of `what` it bounds; `default` is the usual one as text."""
    command.add_argument("--accuracy", metavar=default, help=f"relative, of {bounded} (default: the case's, else {default})")


def add_json(command: argparse.ArgumentParser, more: str = "") -> None:
    """The JSON file."""
    command.add_argument("--json", metavar="FILE", help=f"write the figures as JSON, in SI units{more}")


def chosen_accuracy(argument: str | None, case_accuracy: float | None) -> float | None:
    """The accuracy that was asked for, or else the case's, None where neither gives one."""
    return case_accuracy if argument is None else check_accuracy(parse_quantity(argument, "", "--accuracy"), "--accuracy")
