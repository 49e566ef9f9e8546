"""Tune and setup -> layered arrangement: harmony, bass, layers, rounds, sets."""
