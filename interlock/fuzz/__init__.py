"""Claims attacked by random behaviours: a second way to the answers of the proof, on the readable engine."""
