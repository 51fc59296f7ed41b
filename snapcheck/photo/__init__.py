"""From a picture to a reading. Knows kit and board, nothing electrical, and never sees a design."""

from snapcheck.photo._reading import CubeReading, Frame, LeadReading, Reading, State, TapReading

__all__ = ["CubeReading", "Frame", "LeadReading", "Reading", "State", "TapReading"]
