"""Results as files for other programs: fields as .vtu, series as .csv and .npz, facts as .json,
each of them complete or not there at all."""
