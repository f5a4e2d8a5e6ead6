"""What all else stands on: units and refusals, plane figures, sections, the centreline, the loft, slicing, the port."""
