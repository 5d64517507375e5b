"""Turns of a coil as hoops with one radius and one height each: they stretch, heat, touch, press on
a former and burst."""
