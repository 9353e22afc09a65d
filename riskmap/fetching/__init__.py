"""``riskmap fetch``: open data of national services for one county, into files with a catalogue."""
