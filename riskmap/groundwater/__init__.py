"""What reaches the water: nitrogen, paths, wells. Arrays in, arrays out."""
