"""Job and target files."""
