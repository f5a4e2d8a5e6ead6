"""Meshes in the open formats, read and written."""
