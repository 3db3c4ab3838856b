"""One family of errors. A message says what is wrong with which input, and what the user can do."""


class SwingmatchError(Exception):
    """Base of every error that swingmatch raises on purpose; its text is one sentence for a coach."""


class ClipError(SwingmatchError):
    """A video file that cannot be read, or holds nothing that can be used."""


class TrackError(SwingmatchError):
    """Nobody, or not enough of the player, could be followed in a clip."""


class StrokeError(SwingmatchError):
    """No swing, or no usable event, was found in a track."""


class LibraryError(SwingmatchError):
    """A model swing or a motion file that is missing, damaged or unfit for use."""


class SetupError(SwingmatchError):
    """Something the computer needs (a system library, a model file) is missing."""
