"""What a shot returns: series, peaks, the field and the metal at any stored time, profiles and
bursts, the energy balance, and the summary on one screen."""
