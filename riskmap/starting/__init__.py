"""A county's first day: what its files hold, a region file to start from, and what is missing."""
