"""The local page: a folder of tunes looked at, mended, arranged and practised in a browser."""
