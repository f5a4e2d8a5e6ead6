"""What a command prints."""
