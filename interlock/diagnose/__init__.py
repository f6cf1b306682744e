"""From what was seen back to what may be wrong, and what to look at next."""
