"""The command `fieldsolve`: options to calls, errors to one line and an exit code.  One module a
command; the work is done in the rooms below."""
