"""Somebody's own firmware held against the vectors of its unit, over a pipe or a serial line."""
