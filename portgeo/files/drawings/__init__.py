"""Traced outlines: DXF, SVG and two-column tables."""
