"""The strokes that swingmatch knows."""

from __future__ import annotations

from swingmatch.stroke.definition import Definition
from swingmatch.stroke.forehand import FOREHAND
from swingmatch.stroke.one_handed_backhand import ONE_HANDED_BACKHAND
from swingmatch.stroke.serve import SERVE
from swingmatch.stroke.swing import Swing
from swingmatch.stroke.two_handed_backhand import TWO_HANDED_BACKHAND

STROKES: dict[str, Definition] = {
    stroke.name: stroke for stroke in (FOREHAND, TWO_HANDED_BACKHAND, ONE_HANDED_BACKHAND, SERVE)
}


def definition_of(swing: Swing) -> Definition:
    """What makes a swing's stroke that stroke. Raises ``KeyError`` for a stroke that is not in ``STROKES``."""
    return STROKES[swing.stroke]
