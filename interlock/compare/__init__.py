"""What a change of rules means: whether a path may now run where it was stopped, or the reverse."""
