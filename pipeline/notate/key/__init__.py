"""Tonic and mode of a written tune."""
