"""Proof from outside: published and closed-form cases run through the solver."""
