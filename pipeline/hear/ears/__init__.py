"""Samples -> raw notes: our own network and general trackers."""
