"""What is read off a shot at the end of every step: currents, voltages, fields, forces and powers,
the largest field of each bore, and the voltages that the insulation holds off."""
