"""How deep and how fast current goes into metal."""
from __future__ import annotations

import math

from fieldsolve.bounds import is_finite_number
from fieldsolve.constants import MU_0
from geometries.errors import InputError
from geometries.keywords import known_keywords


@known_keywords
def skin_depth(*, frequency: float, conductivity: float, relative_permeability: float = 1.0) -> float:
    """Skin depth delta = sqrt(2 / (omega mu sigma)) in metres.

    Parameters
    ----------
    frequency : float
        Hertz.
    conductivity : float
        S/m.
    relative_permeability : float

    Returns
    -------
    float
        Metres.

    Raises
    ------
    InputError
        For a number that is not positive.

    Notes
    -----
    Source: J. D. Jackson, Classical Electrodynamics, section 5.18.

    Examples
    --------
    >>> round(1e3 * skin_depth(frequency=50.0, conductivity=5.8e7), 4)      # copper, mm
    9.3459
    """
    for name, value in (("frequency", frequency), ("conductivity", conductivity), ("relative_permeability", relative_permeability)):
        if not (is_finite_number(value) and value > 0):
            raise InputError(f"{name} = {value!r}: a skin depth needs a positive number")
    return math.sqrt(1 / (math.pi * frequency * MU_0 * relative_permeability * conductivity))


@known_keywords
def diffusion_time(*, thickness: float, conductivity: float, relative_permeability: float = 1.0) -> float:
    """Time mu sigma h^2 / pi^2 in seconds after which a field has gone through a slab of `thickness` h metres from both faces.

    Parameters
    ----------
    thickness : float
        Metres.
    conductivity : float
        S/m.
    relative_permeability : float

    Returns
    -------
    float
        Seconds.

    Raises
    ------
    InputError
        For a number that is not positive.

    Notes
    -----
    The slowest term of the slab's series.  Source: H. S. Carslaw, J. C. Jaeger, Conduction of Heat in Solids, section 3.3.

    Examples
    --------
    >>> round(1e6 * diffusion_time(thickness=2e-3, conductivity=5.8e7), 2)      # copper, us
    29.54
    """
    for name, value in (("thickness", thickness), ("conductivity", conductivity), ("relative_permeability", relative_permeability)):
        if not (is_finite_number(value) and value > 0):
            raise InputError(f"{name} = {value!r}: a diffusion time needs a positive number")
    return MU_0 * relative_permeability * conductivity * (thickness / math.pi) ** 2
