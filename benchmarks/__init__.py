"""Proof from outside: published and closed-form cases run through the solver, each by one recipe.
Not installed; `python -m benchmarks` runs them."""
