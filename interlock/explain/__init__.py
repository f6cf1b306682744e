"""A scheme and its traces in plain sentences."""
