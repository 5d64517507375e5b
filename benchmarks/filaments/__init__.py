"""Coil and metal bodies as coaxial filaments coupled by Maxwell's mutual inductance: the reference for the solver in time.

One discharge of a bank into turns in series around closed bodies, everything at rest and at one temperature:

    sections    conductors cut into cells: rectangles, and rings of a round wire
    coupling    resistance and inductance of all cells
    modes       turns joined in series; the decaying current patterns of all together
    shot        exact exponentials between current zeros
    contract    the rig that the solver is compared on, refined until its peaks stand still

Shares nothing with the solver but constants and material data.
"""
