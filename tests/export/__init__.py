"""Exports: they decide as the scheme does."""
