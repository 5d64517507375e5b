"""The loop's constants from the ringing current of a bank: the waveform in closed form, its least-squares fit, what the noise leaves
undetermined, tests by half-waves, and the load taken off."""
