"""Records -> files in open formats."""
