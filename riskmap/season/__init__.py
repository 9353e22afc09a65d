"""The season's work: the plan, what goes out, what comes back, and the report."""
