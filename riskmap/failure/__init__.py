"""How systems fail: flow, clogging, aging. Arrays in, arrays out."""
