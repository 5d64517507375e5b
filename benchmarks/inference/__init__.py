"""Does inference hold what it says?  Studies on synthetic records, whose radius and parameters are known.

From below: synthetic records; what a folder keeps; radius, coverage and calibration, one study each.
"""
