"""Day sheets and letters, typeset for printing."""
