"""Files -> Tune or Arrangement."""
