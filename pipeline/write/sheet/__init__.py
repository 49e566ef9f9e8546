"""What all writers of notes share: bars, voices, note values, time."""
