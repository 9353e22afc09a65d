"""Side-by-side timings of one job done three ways; see README.md."""
