"""A case file with comments, for a person to fill in.  All its numbers are invented."""

TEMPLATE = '''# A coil round a blank, fired by a capacitor bank.  All numbers are invented: put your own in their place.
# A quantity with its unit stands in quotes.  Lines that begin with # are not read.

[coil]
shape = "solenoid"            # or spiral, winding, ring, loop, sheet
turns = 8
bore_radius = "15.6 mm"       # from the axis to the metal
wire_diameter = "3.0 mm"      # of the bare wire; or wire_section = ["2 mm", "4 mm"], radial and axial
pitch = "3.3 mm"              # from turn to turn along the axis, insulation included
material = "copper"           # `fieldsolve materials` lists them
# at = "0 mm"                 # height of the middle
# held = true                 # hold this part still in a shot

[blank]
shape = "disc"                # or washer, tube, plate, cylinder, sphere, ...
radius = "15 mm"
thickness = "2 mm"
material = "aluminium 1100-O"

[bank]
capacitance = "120 uF"
voltage = "4 kV"              # charge at the trigger
resistance = "6 mohm"         # of capacitor, gap and cables together
inductance = "350 nH"
arc_voltage = "50 V"          # drop of the arc in the gap

[run]
end_time = "60 us"
# motion = false              # hold all metal still: quicker, but overstates current, field and force
# accuracy = 3e-3

# For the card of the workshop (`fieldsolve rig`) the tables [capacitor], [leads], [gap], [bleeder], [box], [insulation], [charger],
# [site] and [instruments] say more; what is not given is not assessed.
'''
