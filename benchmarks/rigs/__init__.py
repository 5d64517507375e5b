"""Benches of a made-up workshop, and records that an invented oscilloscope would write there.  Every number is invented."""
