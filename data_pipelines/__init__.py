"""Readers: one module per open source, raw file to canonical layer."""
