"""What records tell of a model: parameters calibrated to shots, and the radius of a body from the trace of the current.

From below: parameters and the shots they change; the samples of a record; what a deviation of the radius does to the current; the
linear Gaussian posterior with its discrepancy terms; the Gauss-Newton iterations; the radius from a trace and the calibration.
"""
