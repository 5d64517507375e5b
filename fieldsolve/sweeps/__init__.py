"""Many runs of one case: a sweep over its values, and the best design under the limits of the card.
`points` says which runs, `run` computes one of them in whatever process, `store` keeps each at once,
`scheduling` hands them to executors, `sweep` puts the table together, `design` searches."""
