"""Firmware held against vectors: good, seeded with mistakes, hanging, dying, talking nonsense."""
