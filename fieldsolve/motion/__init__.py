"""Bodies and turns that move and deform: how far, how fast, and what that costs in work."""
