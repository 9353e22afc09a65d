"""The result folder: known by a list of its files, swapped whole, locked while a run works."""
