"""Bands on the results of a shot as drawings: the traces with their 95 % intervals, and the sensitivity indices as bars, for
screen, page and sheet."""
