"""What a coil is wound on or cast in, which holds its turns together."""
from __future__ import annotations

import math
from dataclasses import dataclass

from fieldsolve.bounds import is_finite_number
from fieldsolve.renamed import old_attributes
from geometries.errors import InputError
from geometries.keywords import known_keywords

BREAK_STRAIN = 0.02     # of a former of glass fibre or the like whose stiffness is not known; common practice, no source


@known_keywords
@dataclass(frozen=True)
class Former:
    """What a coil is wound on or cast in.

    It is bonded to the turns, shared evenly among them, and stretches elastically until it breaks.

    Parameters
    ----------
    mass : float, optional
        kg in all.
    stiffness : float, optional
        N in all: hoop tension over hoop strain, Young's modulus times the section.  By default that which breaks at a strain of 2 %.
    strength : float, optional
        N in all: the hoop tension at which it breaks.  By default it holds nothing and only has mass.

    Raises
    ------
    InputError
        Where a number is not finite, the mass is below 0, stiffness or strength is not larger than 0, or a stiffness stands alone.

    Examples
    --------
    >>> Former(mass=0.1, strength=50e3).stiffness_and_break_strain
    (2500000.0, 0.02)
    """

    mass: float = 0.0
    stiffness: float | None = None
    strength: float | None = None

    __getattr__ = old_attributes("Former")

    def __post_init__(self):
        for name, unit in (("mass", "kg"), ("stiffness", "N"), ("strength", "N")):
            value, least = getattr(self, name), "0 or more" if name == "mass" else "above 0"
            if value is None and name != "mass":
                continue
            if not (is_finite_number(value) and (value > 0 or (name == "mass" and value == 0))):
                raise InputError(f"former: {name} = {value!r} {unit}: expected a finite number {least}")
        if self.strength is None and self.stiffness is not None:
            raise InputError(f"former: stiffness = {self.stiffness!r} N without strength: give the tension in N at which it breaks")

    @property
    def stiffness_and_break_strain(self) -> tuple[float, float]:
        """Stiffness in N and the logarithmic strain at which it breaks; (0, inf) where it holds nothing."""
        if self.strength is None:
            return 0.0, math.inf
        stiffness = self.stiffness or self.strength / BREAK_STRAIN
        return stiffness, self.strength / stiffness

    def portion(self, part: float) -> Former:
        """A fraction of it, 0 to 1, with that fraction of its mass, stiffness and strength."""
        return Former(part * self.mass, *(value and part * value for value in (self.stiffness, self.strength)))
