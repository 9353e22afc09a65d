"""Many counties at once: each run in a process of its own, and one dataset and rank of all."""
