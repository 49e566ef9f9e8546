"""Sound files and samples, before any pitch."""
