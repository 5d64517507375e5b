"""A held section with its solid turns as a small passive system: `reduce_field` projects the pencil
(K, M) on a few fields and bounds what that leaves out; `decay_times` are the pencil's eigenvalues."""
from fieldsolve.field.reduced.decay import decay_constants, decay_times
from fieldsolve.field.reduced.projection import ReducedField, reduce_field

__all__ = ["ReducedField", "decay_constants", "decay_times", "reduce_field"]
