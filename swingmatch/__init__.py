"""swingmatch: set a player's stroke beside a model swing, at the same moment and from the same side."""

__version__ = "0.1.0"
