"""Which measures footage takes away, beyond what their own uncertainty says.

A measure's uncertainty knows the view, the frame rate and the error of contact. It does not know that a part of the
body is out of the picture, that the clip may be in slow motion, or that the camera itself moves.
"""

from __future__ import annotations

from swingmatch.body.skeleton import KEYPOINTS
from swingmatch.body.track import Track
from swingmatch.footage.check import CUT_OFF, Footage, cut_off
from swingmatch.stroke.definition import Definition, Row
from swingmatch.stroke.shown import own_keypoints
from swingmatch.stroke.swing import Hand

OUT_OF_PICTURE = "out of the picture"
UNKNOWN_SPEED = "the clip's speed is not known"
CAMERA_MOVES = "the camera moves"

#: Measures of the way over the ground, which a camera that moves hides.
_OVER_GROUND = frozenset(
    {
        "back_foot_time",
        "back_foot_way",
        "com_drop",
        "com_speed",
        "feet_height",
        "head_movement",
        "head_speed",
        "reach",
        "recovery_step",
        "time_to_balance",
    }
)


def hidden_measures(definition: Definition, hand: Hand, track: Track, footage: Footage) -> dict[str, str]:
    """Why measures of a stroke are not to be reported from this footage: key -> a few words; the rest may be."""
    shares = cut_off(track)
    lost = {name for name, share in zip(KEYPOINTS, shares, strict=True) if share > CUT_OFF}
    moves = footage.lacks("camera moves")
    out = {}
    for row in definition.measures:
        needed = {point for name in row.shows for point in own_keypoints(name, definition, hand)}
        if needed & lost:
            out[row.key] = OUT_OF_PICTURE
        elif not footage.slow.sure and _timed(row):
            out[row.key] = UNKNOWN_SPEED
        elif moves and row.key in _OVER_GROUND:
            out[row.key] = CAMERA_MOVES
    return out


def _timed(row: Row) -> bool:
    """Whether a value would be another one if the clip played at another speed; a ratio of two times would not."""
    return row.unit == "ms" or row.unit.endswith("/s")
