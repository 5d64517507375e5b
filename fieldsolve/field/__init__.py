"""The axisymmetric magnetic field by finite elements, for the unknown u = A_phi / r.  The rooms
build on each other in this order: `linear_algebra`, `fem`, `system`; on them `nonlinear`,
`quantities` and `adaptivity`; and on those the solvers `static`, `harmonic` and `transient`."""
