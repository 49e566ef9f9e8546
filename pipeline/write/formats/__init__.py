"""Tune or layer -> text, MusicXML, ABC, MIDI; one table of all kinds of file."""
