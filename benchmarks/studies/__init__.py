"""Small studies behind the tables of the theory pages: convergence, error bounds, unknowns of thin metal, order in time."""
