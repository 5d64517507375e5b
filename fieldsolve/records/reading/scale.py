"""The factor from the numbers of a column to its quantity in SI."""
from __future__ import annotations

import re

from fieldsolve.errors import InputError
from fieldsolve.records.reading.header import factor, normal_unit
from fieldsolve.records.record import ROLES, Channel

_SCALE = re.compile(r"\s*([+-]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][+-]?\d+)?)\s*([A-Za-zµμ]+(?:/s)?)\s*(?:/\s*([A-Za-zµμ]+))?\s*")


def scale_factor(channel: Channel, column_unit: str, name: str) -> float:
    """SI a unit of the column.  A number is taken as it is; text and no scale follow the column's unit."""
    if channel.scale is None:
        return factor(column_unit)[0]
    if not isinstance(channel.scale, str):
        return float(channel.scale)
    match = _SCALE.fullmatch(channel.scale)
    if not match or not normal_unit(match[2]) or (match[3] and not normal_unit(match[3])):
        raise InputError(f"channel {name}: scale = {channel.scale!r}: expected text such as '5 kA/V', or a number in SI")
    above, quantity = factor(match[2])
    below, unit = factor(match[3] or "V")
    wanted = ROLES.get(channel.role or name)
    if wanted and quantity != wanted:
        raise InputError(f"channel {name}: scale = {channel.scale!r} gives {quantity}, a {channel.role or name} is in {wanted}")
    in_column, found = factor(column_unit)
    return float(match[1]) * above / below * (in_column if match[3] and found == unit else 1.0)
