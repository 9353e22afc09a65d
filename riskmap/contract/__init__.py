"""What all packages share: layers, columns, settings, units, errors."""
