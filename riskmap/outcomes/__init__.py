"""The outcome log: what visits found, only ever added to."""
