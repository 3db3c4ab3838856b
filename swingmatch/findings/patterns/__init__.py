"""From deviations to patterns: which faults of the catalogue a player shows, how big and how sure."""
