"""Parcels and layers in, one row per parcel with evidence marks out."""
