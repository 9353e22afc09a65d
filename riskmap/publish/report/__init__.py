"""The county report, a section a file."""
