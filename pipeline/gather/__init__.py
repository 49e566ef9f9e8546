"""Thousands of recordings: a folder per tune and one table, resumable, on one machine or many."""
