"""Port geometry from measured sections: loft, slice, survey, compare and plan."""

__version__ = "0.1.0"
