"""Before a run: what joins, what is covered, what contradicts, what it costs, how to cure it."""
