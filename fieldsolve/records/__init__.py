"""What an instrument wrote: reading the trace of a measured current, and comparing its peak with
the computed one."""
