"""Files into a folder, losing nothing of the user's."""
