"""The logic drawn: SVG from a scheme, left to right, cause to effect."""
