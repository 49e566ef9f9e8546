"""Recording -> heard notes, in seconds and fractional MIDI pitch. Knows nothing of bars."""
