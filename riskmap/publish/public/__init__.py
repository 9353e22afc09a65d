"""The public edition: counts, never parcels."""
