"""The region file and the scoring-model file: read, checked, explained."""
