"""How a shot shows itself: its text on a screen and in a notebook, its series as a table, and the
figures that its methods fetch from the report."""
