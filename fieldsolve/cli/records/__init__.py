"""The commands about what was measured: a record held against a computed shot, and the log of shots.
One module a command; options that they share are in `options`."""
