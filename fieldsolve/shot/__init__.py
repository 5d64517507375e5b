"""One discharge of a bank into coil and bodies, with moving and heating metal.  `solve` sets it up
and runs it, `integrator` steps it, `observables` reads each instant, `result` is what a person
gets; `circuit_only` is a discharge without a field."""
