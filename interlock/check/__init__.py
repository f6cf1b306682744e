"""Findings beyond syntax: what a scheme's own words show to be wrong or doubtful."""
