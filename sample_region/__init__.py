"""An invented county: a seeded generator that writes the formats of real open sources."""
