"""Charts and pictures."""
