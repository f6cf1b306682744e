"""Sheets that people take along to the installation: on paper, and on a phone."""
