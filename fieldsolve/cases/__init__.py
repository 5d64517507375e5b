"""Case files: the tables of a TOML file, with units, become parts, banks, runs and rigs, and what
is wrong in them becomes one line that names the table and the key."""
