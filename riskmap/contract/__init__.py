"""What every room agrees on: layers, columns, settings, units, errors."""
