"""Options that the commands about records share: the channel of the current, and what was measured after the shot."""
from __future__ import annotations

import argparse
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from fieldsolve.records.record import Channel


def add_channel(command: argparse.ArgumentParser) -> None:
    """What is known of the channel of the current."""
    command.add_argument("--column", metavar="1", default="1", help="number of the current's column from 0, or its name (default 1)")
    command.add_argument("--scale", metavar="'5 kA/V'", help="of the column (default: as the file says, else ampere)")
    command.add_argument("--scale-uncertainty", metavar="'2 %'", help="relative standard uncertainty of the scale (default: exact)")
    command.add_argument("--delay", metavar="'20 ns'", help="by which the record lags behind the current")
    command.add_argument("--droop", metavar="'2 ms'", help="time constant of the integrator, which is corrected")
    command.add_argument("--rate", action="store_true", help="the column is the rate of the current, which is integrated")


def channel_values(options: argparse.Namespace) -> dict[str, dict[str, Any]]:
    """What the options say of the channel, by its role."""
    from fieldsolve.units import parse_quantity

    values: dict[str, Any] = {"column": int(options.column) if options.column.isdigit() else options.column}
    if options.scale is not None:
        values["scale"] = _number_or_text(options.scale)
    for key, unit in (("scale_uncertainty", ""), ("delay", "s"), ("droop", "s")):
        text = getattr(options, key)
        if text is not None:
            values[key] = parse_quantity(text, unit, f"--{key.replace('_', '-')}")
    return {"current_rate" if options.rate else "current": values}


def channels_of(values: dict[str, dict[str, Any]]) -> dict[str, Channel]:
    """The channels that these values describe."""
    from fieldsolve.records.record import Channel

    return {role: Channel(**described) for role, described in values.items()}


def named_texts(option: str, texts: list[str]) -> dict[str, str]:
    """Text by name from texts such as 'NAME = TEXT'; InputError where one is not."""
    from fieldsolve.errors import InputError

    found = {}
    for text in texts:
        name, separator, value = (part.strip() for part in text.partition("="))
        if not name or not separator or not value:
            raise InputError(f"{option} {text!r}: expected NAME = VALUE, such as 'radius of disc = 12.9 mm +- 0.1 mm'")
        found[name] = value
    return found


def measured_values(texts: list[str]) -> dict[str, tuple[float, float | None]]:
    """(value, standard uncertainty) in SI by name, of texts such as 'radius of disc = 12.9 mm +- 0.1 mm'."""
    from fieldsolve.records.comparison.quantities import unit_of_name
    from fieldsolve.units import parse_quantity, split_uncertainty

    found = {}
    for name, text in named_texts("--measured", texts).items():
        quantity, uncertain = split_uncertainty(text, name)
        found[name] = parse_quantity(quantity, unit_of_name(name), name), uncertain and uncertain[1]
    return found


def _number_or_text(text: str) -> float | str:
    try:
        return float(text)
    except ValueError:
        return text
