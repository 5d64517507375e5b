"""A run of a shot kept on disk between two of its steps, so that it can go on after a crash: what is kept, when, in which file, and
how it is read.  What was kept goes on with the same bits as a run that nothing stopped."""
