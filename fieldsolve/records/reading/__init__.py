"""Reading what oscilloscopes write: the encoding and the layout of a text file, its numbers block by block, the time axis with its
gaps, clipped samples, and the files of waveforms that a package of the registry reads."""
