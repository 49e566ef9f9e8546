"""A finished arrangement -> its tune, its bass and stages to learn it by."""
