"""Results drawn with matplotlib, on axes of their own or the caller's, readable without colour:
maps, curves, series in time, impedances, sections of moved metal, data of metals."""
