"""Vectors: what they show, and that the readable engine says so."""
