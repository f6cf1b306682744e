"""What people type: one module per command, and how results look."""
