"""The commands about what was measured: the constants of a ring-down, a record held against a computed shot, and the log of shots.
One module a command; `options` has what they share."""
