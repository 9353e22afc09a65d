"""A life for every system: sound, stressed or failed by year, from what is on file."""
