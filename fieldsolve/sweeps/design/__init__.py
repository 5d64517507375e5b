"""The best design: values of a case that make a goal largest or smallest within the limits of the
card. `problem` says what is free and what is required, `response` is a Gaussian process through the
computed runs, `search` chooses the next runs by it, `design` puts the answer together with its band."""
