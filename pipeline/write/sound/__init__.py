"""The sound of an arrangement and of practice tracks."""
