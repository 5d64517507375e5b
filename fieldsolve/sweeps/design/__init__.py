"""The best design: values of a case that make a goal largest or smallest within the limits of the
card. `problem` says what is free and what is required, `first_pass` what reduced discharges say of
it, `response` is a Gaussian process through the computed runs, `acquisition` chooses the next ones by
it, `search` runs them, and `design` puts the answer together with its band."""
