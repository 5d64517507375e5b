"""What instruments wrote: reading a record, the constants of the loop from a ring-down, an impulse current by its standard, and a
measured current beside a computed one."""
