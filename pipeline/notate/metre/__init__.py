"""Which metre, type and tempo: what the networks say, read by a best path."""
