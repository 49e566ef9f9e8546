"""Raw notes -> the notes that were meant: where they begin, what they are, what is no tune."""
