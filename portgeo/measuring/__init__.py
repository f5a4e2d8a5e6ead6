"""Area schedule, volume, short side, taper and their uncertainty: pure functions of a Port."""

from portgeo.measuring.schedule import Survey, survey

__all__ = ["Survey", "survey"]
