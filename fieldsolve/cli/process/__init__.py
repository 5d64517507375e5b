"""The process around a command: signals that interrupt it, the screen that it prints on, and the exit codes that it ends with.
Nothing here knows what a command computes."""
