"""The checks of the card: of the bank, of the coil and its disc, of what protects people.  Each is
a rule with a value, a limit, a remedy and the source of both."""
