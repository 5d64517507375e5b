"""The commands of many runs: `fieldsolve sweep` fills a table, `fieldsolve design` looks for the best;
both compute on all cores or on a scheduler's machines, keep every finished run, and go on where they were ended."""
