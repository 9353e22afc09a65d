"""From ranks to work: who to visit, sample, write to."""
