"""The errors a user can meet: one base class, few children.

A message says what is wrong, the value, the limit and the remedy.
"""


class FieldError(Exception):
    """Base class of every error this project raises on purpose."""


class GeometryError(FieldError, ValueError):
    """A part or a cross-section that cannot exist."""


class MeshError(FieldError, RuntimeError):
    """The mesher failed or is not usable on this machine."""


class InputError(FieldError, ValueError):
    """A wrong argument, key, unit or name."""


class KeywordError(InputError, TypeError):
    """A keyword that a function or a class does not have."""


class SolveError(FieldError, RuntimeError):
    """A computation that failed; it gives no answer.

    partial   what was computed before, marked as interrupted, or None
    """

    partial: object = None


class MotionEnd(SolveError):
    """Metal has moved to where the model ends; the states before that hold."""


class RenamedError(FieldError, AttributeError, TypeError):
    """A name of an earlier version was used; the message says the name of today."""


class AccuracyWarning(UserWarning):
    """The requested accuracy was not reached; the best result is returned and marked."""
