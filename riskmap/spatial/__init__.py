"""Geometry and grids: overlaps, cell coverage, neighbors, hexagons."""
