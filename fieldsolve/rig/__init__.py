"""The rig around a shot, checked before it is fired: its frozen description, the formulas of the
workshop, the checks with their limits, and the go / no-go card with its cautions.  Local codes
and licensed practice prevail over it."""
