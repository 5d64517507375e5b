"""Figures of what instruments wrote: the ringing current of a bank, measured and fitted, and what the fit leaves over."""
