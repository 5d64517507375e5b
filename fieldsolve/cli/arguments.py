"""Arguments that several commands share: the case file, the accuracy, the JSON file."""
from __future__ import annotations

import argparse

from fieldsolve.cases.case_file import check_accuracy
from fieldsolve.units import quantity


def add_case(command: argparse.ArgumentParser) -> None:
    """The case file."""
    command.add_argument("case", metavar="CASE.toml", help="the case file")


def add_accuracy(command: argparse.ArgumentParser, default: str, what: str) -> None:
    """The accuracy, relative, of `what` it bounds; `default` is the usual one as text."""
    command.add_argument("--accuracy", metavar=default, help=f"relative, of {what} (default: the case's, else {default})")


def add_json(command: argparse.ArgumentParser, more: str = "") -> None:
    """The JSON file."""
    command.add_argument("--json", metavar="FILE", help=f"write the figures as JSON, in SI units{more}")


def chosen_accuracy(option: str | None, of_case: float | None) -> float | None:
    """The accuracy that was asked for, or else the case's, None where neither gives one."""
    return of_case if option is None else check_accuracy(quantity(option, "", "--accuracy"), "--accuracy")
