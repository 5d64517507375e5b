"""Figures of many runs: families of curves, contour maps with the card's limits drawn in, one result
against another, and the frontier of a design with its best run."""
