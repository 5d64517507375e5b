"""A record held against a computed shot: its trace is aligned by fit, peaks, crossings and integrals are
read from both in the same way, and each difference is weighed against all uncertainty that is known."""
