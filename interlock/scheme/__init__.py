"""The scheme file: read into one frozen, typed model."""
