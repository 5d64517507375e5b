"""Any bank on a held, cold section in milliseconds: `solve.reduce_section` reduces field and readings
once, `model` discharges banks through them by exact solutions from event to event, `result` is what a
person gets."""
from fieldsolve.shot.reduced.model import ReducedModel
from fieldsolve.shot.reduced.result import ReducedShot
from fieldsolve.shot.reduced.solve import reduce_section

__all__ = ["ReducedModel", "ReducedShot", "reduce_section"]
