"""The contract of a flow-stress law: what the return mapping, cold work and plots need of it."""
from __future__ import annotations

from typing import Any, NamedTuple, Protocol, runtime_checkable

import numpy as np

Numbers = float | np.ndarray


class DataKey(NamedTuple):
    """One number of a law in a metal's data file.

    field      of the law's dataclass
    unit       in SI
    low, high  bounds between which the number lies for metals
    default    where a data file may leave it out: "yield stress", "base" (that of the base metal), "solidus", "law" (the dataclass's
               own default); "" where it may not
    """

    field: str
    unit: str
    low: float
    high: float
    default: str = ""


@runtime_checkable
class FlowStressLaw(Protocol):
    """Flow stress `Y(e, e', T)` of a metal over plastic strain e, its rate e' in 1/s and the temperature T in K.

    A law is a frozen dataclass of numbers.  To write another one, put it in a file of its own beside `johnson_cook.py`:

    1. Fields are numbers: each a float, or an array of shape (cells,) where many cells are followed at once.  The formulas broadcast
       over both.  A field `scale` multiplies the stress.  The constructor refuses bad numbers with an InputError.  The object is
       pickled, copied and compared as the data it is.
    2. `quasi_static_rate` in 1/s: below it Y does not depend on the rate.
    3. `initial_stress` in Pa: Y at no strain, a slow rate and room temperature, or nearly so.  The return mapping measures by it its
       tolerance, and the flow stress of 1 % that it leaves to molten metal.
    4. `melting` in K: from there on Y is 0.
    5. `thermal_softening(T)` is what depends on the temperature alone.  It is computed once a step and handed to the two methods
       below, which alone know what it is: an array of shape (cells,), or a tuple of such arrays.
    6. `quasi_static_stress(e, softening)` is Y in Pa at the quasi-static rate; e has a shape (..., cells).
    7. `stress_along_step(e, d, duration, softening, above)` is Y(e + d, d/duration) in Pa and its derivative by d, both of the shape
       of d.  `above` (..., cells) says whether the rate is above the quasi-static one; where it is not, the derivative is that at a
       constant rate.  The derivative is finite.  Y never falls with d, and is concave in d on either side of the quasi-static rate: that is
       why Newton's method for the return cannot run away.
    8. `flow_stress(e, e', T)` is Y in Pa for numbers or arrays that broadcast; plots use it.
    9. `cold_worked(stress)` is the law of the metal after cold work that has raised its yield stress to `stress` in Pa, and the plastic
       strain which that took.  It raises InputError for a stress that cold work cannot reach.

    `fs.Mechanical(flow_stress=...)` takes any object that keeps 1 to 9.  A law that data files can name has two class attributes more,
    `data_name` and `data_keys` (key of the file: `DataKey`), and stands in the table `LAWS` of this room.
    """

    scale: Numbers
    melting: Numbers

    @property
    def quasi_static_rate(self) -> Numbers: ...

    @property
    def initial_stress(self) -> Numbers: ...

    def thermal_softening(self, temperature: Numbers) -> Any: ...

    def quasi_static_stress(self, strain: Numbers, softening: Any) -> Numbers: ...

    def stress_along_step(self, strain: Numbers, increment: Numbers, duration: float, softening: Any,
                          above: np.ndarray | bool) -> tuple[Numbers, Numbers]: ...

    def flow_stress(self, strain: Numbers, rate: Numbers, temperature: Numbers) -> Numbers: ...

    def cold_worked(self, stress: float) -> tuple[FlowStressLaw, float]: ...
