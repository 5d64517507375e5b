"""The formulas of a pulsed-power bench, one small module each: gap, bleeder, charger, reversal,
ring-down, leads, insulation, instruments, fragments, penetration, exposure, sound.  Plain
functions of numbers in SI, each with its source."""
