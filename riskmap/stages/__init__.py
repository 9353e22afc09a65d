"""The steps of a run, from a county's layers to what is published."""
