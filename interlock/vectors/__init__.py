"""Input sequences for one unit with what it must answer, scan by scan: what shows that a firmware obeys its rules."""
