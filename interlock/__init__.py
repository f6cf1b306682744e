"""Protection logic and interlocks for battery-electric power systems: read, explained, checked, run and proved."""

__version__ = "0.1.0"
