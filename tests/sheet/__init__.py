"""Sheets for the installation."""
