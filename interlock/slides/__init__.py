"""The handbook as a deck of slides that a trainer can edit."""
