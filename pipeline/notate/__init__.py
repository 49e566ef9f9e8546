"""Heard notes -> Tune: tempo, bars, note values, parts, key. Knows nothing of guitars."""
