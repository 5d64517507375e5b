"""How well shots keep their word, on rigs drawn at random: whether their energy balances close, and
whether their true errors, against runs of much higher accuracy kept in `reference/shots`, lie
within the error bounds.  Every number of these rigs is invented; no machine stands behind them."""
