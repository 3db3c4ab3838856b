"""What was said of each player, kept in the coach's home beside the library."""

from swingmatch.players.keeping import (
    counts,
    decide,
    decisions,
    find_player,
    forget,
    keep,
    last_review,
    own_catalogue,
    players,
    reviews,
    write_player,
)
from swingmatch.players.making import filmed_on, review_of
from swingmatch.players.records import Decision, KeptReview, Player

__all__ = [
    "Decision",
    "KeptReview",
    "Player",
    "counts",
    "decide",
    "decisions",
    "filmed_on",
    "find_player",
    "forget",
    "keep",
    "last_review",
    "own_catalogue",
    "players",
    "review_of",
    "reviews",
    "write_player",
]
