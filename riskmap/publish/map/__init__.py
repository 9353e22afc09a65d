"""The map that opens from disk, and the data packed into it."""
