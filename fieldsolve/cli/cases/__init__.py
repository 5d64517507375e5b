"""Commands that come before a computation: a case file to fill in, a check of one with what it will cost, and its drawing with
dimensions."""
