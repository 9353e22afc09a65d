"""Before a run: what joins, what is covered, what contradicts itself, what it costs, how to cure it."""
