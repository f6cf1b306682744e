"""The meaning: the rule machine, one scan, and the same compiled for speed."""
