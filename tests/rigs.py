"""Case files for tests."""

RIG = """[coil]
shape = "solenoid"
turns = 4
bore_radius = "15.6 mm"
wire_diameter = "3.0 mm"
pitch = "3.3 mm"
material = "copper"
[disc]
shape = "disc"
radius = "15 mm"
thickness = "2 mm"
material = "aluminium 1100-O"
[bank]
capacitance = "120 uF"
voltage = "4 kV"
resistance = "6 mohm"
inductance = "350 nH"
arc_voltage = "80 V"
"""
