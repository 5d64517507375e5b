"""Fields in metal with a B-H curve by Newton's method with a line search: a static field, and one
implicit stage of a field in time."""
from fieldsolve.field.nonlinear.implicit_stage import nonlinear_field
from fieldsolve.field.nonlinear.newton import NonlinearSolution, line_search, solve_nonlinear

__all__ = [
    "NonlinearSolution", "line_search", "nonlinear_field", "solve_nonlinear",
]
