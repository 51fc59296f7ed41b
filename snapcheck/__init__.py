"""snapcheck: check magnetic circuit-cube builds from a photo, by calculation."""

__version__ = "0.1.0"
