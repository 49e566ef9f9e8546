"""Tune -> ranked tunings and capos, and optimal fingering. Knows nothing of audio."""
