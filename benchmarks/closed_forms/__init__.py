"""Textbook formulas that the solver is compared with, one module a subject; nothing here calls the solver."""
