"""One thin module a command: arguments in, a call, and what it found printed."""
