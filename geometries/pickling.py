"""What of an object goes into pickles and copies: its fields, without what it worked out and keeps beside them."""
from __future__ import annotations

from dataclasses import fields
from typing import Any


def fields_only(self) -> dict[str, Any]:
    """State of a dataclass for `pickle` and `copy`, to be used as its `__getstate__`: cached properties are left out."""
    return {field.name: getattr(self, field.name) for field in fields(self)}
