"""The static field of currents, permanent magnets and permeable bodies, to a requested accuracy:
`solve_static`, the field it returns, and the goals whose errors it bounds."""
from fieldsolve.field.static.solution import StaticProblem, solve_on_mesh
from fieldsolve.field.static.solve import StaticField, solve_static

__all__ = [
    "StaticField", "StaticProblem", "solve_on_mesh", "solve_static",
]
