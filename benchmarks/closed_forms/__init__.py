"""Textbook formulas the solver is judged by; nothing here calls the solver."""
