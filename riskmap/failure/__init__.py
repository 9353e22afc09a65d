"""How systems fail: flow, clogging, ageing. Arrays in, arrays out."""
