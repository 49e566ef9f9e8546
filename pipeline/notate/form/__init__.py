"""Which bars are passes of which part, and the tune that is printed of them."""
