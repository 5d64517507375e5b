"""Manufactured solutions: a field is prescribed, its sources follow from Maxwell's equations, and the solver has to find the field again.

P. J. Roache, J. Fluids Eng. 124 (2002) 4.  The matrices, the discharge in time, the heating and the moving mesh are the solver's own.
"""
