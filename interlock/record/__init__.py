"""A record of one installation that anyone can check in ten years with standard tools."""
