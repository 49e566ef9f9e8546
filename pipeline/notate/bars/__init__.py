"""Notes in bars: the timeline, what passes agree on, crooked bars."""
