"""Results as dictionaries for JSON and as text for a screen: static and harmonic fields, bridge
readings, shots, motion, metals, and the card of a rig."""
