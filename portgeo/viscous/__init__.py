"""Pressure lost in a port: a viscous solution's case, written, run in an open solver, and read."""
