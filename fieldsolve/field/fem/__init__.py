"""The finite element method for u = A_phi / r on quadratic triangles: weak forms, element matrices,
quadrature, assembly, the exterior (Kelvin) domain, and the values and slopes of a solution at
any point."""
