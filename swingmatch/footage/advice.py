"""The note that a coach can forward to a player: how to film the next clip, and only what this one lacked.

How to film is *common practice, no source*, but for the rates (``footage.needs``) and the shutter (E19: Bartlett,
1/500 to 1/1000 s for tennis). Five metres away a phone's usual lens (65 degrees) shows 3.6 m of height: a player and
a racket.
"""

from __future__ import annotations

from swingmatch.footage.check import Footage
from swingmatch.stroke.swing import Hand

CAUTION = "Film minors only with their own and their parents' consent."
#: No note is longer than this, caution included.
MOST_LINES = 6


def note_to_player(footage: Footage) -> str:
    """A short, kind note: what to do the same and what differently next time; at most ``MOST_LINES`` lines."""
    wishes = _wishes(footage, footage.hand)
    if not wishes:
        return f"Thanks for the clip, it shows all that is needed: please film the next one the same way.\n{CAUTION}"
    lead = "Thanks for the clip! " + ("It helps already. " if footage.usable else "I cannot use it yet. ")
    # The gravest come first; what does not fit can wait for the next clip.
    lines = [f"{lead}Next time, please:", *(f"- {wish}" for wish in wishes[: MOST_LINES - 2]), CAUTION]
    return "\n".join(lines)


def _wishes(footage: Footage, hand: Hand | None) -> list[str]:
    """What to ask for, the most important first; each a clause that ends in a full stop."""
    lacks = footage.lacks
    wishes = []
    if lacks("upside down"):
        wishes.append("turn the film upright before you send it (in the phone's gallery: edit, rotate).")
    if lacks("file", "cuts", "varies"):
        wishes.append(
            "send the film uncut and as it left the phone, as a file rather than through a chat app."
        )
    place = _place(footage, hand)
    if place:
        wishes.append(place)
    if lacks("people"):
        wishes.append("be alone in the picture, or say in the message which player you are.")
    if lacks("strokes"):
        wishes.append("film whole forehands: from before you turn until you are ready again, at full speed.")
    if lacks("rate"):
        wishes.append("set the camera to 60 pictures a second or more.")
    if lacks("slow"):
        wishes.append(
            "tell me if it is slow motion, or film at normal speed with 60 pictures a second or more."
        )
    light = _light(footage)
    if light:
        wishes.append(light)
    if lacks("camera moves"):
        wishes.append("put the phone on a tripod, a bag or a bench instead of holding it.")
    if lacks("sound"):
        wishes.append("leave the sound on, so that the strike can be heard.")
    return wishes


def _place(footage: Footage, hand: Hand | None) -> str:
    """Where to put the phone, in one sentence; empty where it stood well."""
    lacks = footage.lacks
    side = f"your {hand}-hand side" if hand is not None else "the side of your hitting arm"
    whole = "the whole body in view"
    if lacks("nobody", "found"):
        return f"film from {side}, 5 metres away, phone sideways at hip height, {whole}."
    if lacks("in view"):
        step = "hold the phone sideways" if _upright(footage) else "step back a little with the phone"
        return f"{step}, to have {whole}, and the racket too."
    if lacks("size"):
        return f"film from nearer, about 5 metres away, phone held sideways, with {whole}."
    if lacks("side"):
        return f"film from {side}, at right angles to where you hit, about 5 metres away."
    return ""


def _upright(footage: Footage) -> bool:
    """Whether the clip is upright, so that turning the phone makes room at the sides."""
    return any(remark.kind == "portrait" for remark in footage.remarks)


def _light(footage: Footage) -> str:
    if footage.lacks("light"):
        return "film with the sun or the lamps behind the phone, and tap on the player to set the light."
    if footage.lacks("blur"):
        return "choose a bright place, or a fast shutter (1/500 s) if your camera app has one."
    if footage.lacks("soft"):
        return "wipe the lens and tap on the player to focus."
    return ""
