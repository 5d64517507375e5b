"""From the uncertainties of a case's inputs to 95 % bands on what its shot does: Monte Carlo with the reduced model and full shots,
and which input matters."""
