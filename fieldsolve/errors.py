"""The errors a user can meet, under this package's name, and the words that offer the nearest known name."""
from __future__ import annotations

from geometries.errors import (
    AccuracyWarning,
    FieldError,
    GeometryError,
    InputError,
    KeywordError,
    MeshError,
    MotionEnd,
    RenamedError,
    SolveError,
)
from geometries.keywords import suggestion

__all__ = ["AccuracyWarning", "FieldError", "GeometryError", "InputError", "KeywordError", "MeshError", "MotionEnd", "RenamedError",
           "SolveError", "suggestion"]
