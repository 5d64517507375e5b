"""Linear Gaussian statistics of a record: how a model can be wrong, what the record tells of the unknowns, whether it fits the model.

From below: the model's errors; the posterior of unknowns; the test of misfit.
"""
