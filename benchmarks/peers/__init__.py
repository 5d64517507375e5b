"""The same sections by a general-purpose finite-element library that nobody here wrote: NGSolve.

Its mesh (Netgen), its elements (order 4, curved), its unknown (r A_phi), its direct solver, a boundary condition of its own far away, none
of this project's code.  `python -m benchmarks peers` compares; without NGSolve (extra `peers`) it says so and compares nothing.
"""
