"""What the fit of a racket takes for granted, in one place."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class FitSettings:
    """Standard deviations and limits. Tuned on generated figures kept for tuning, unless said otherwise.

    Attributes
    ----------
    stature, stature_sd : metres and share: the racket's length is known in metres, the body's in statures. Adults of
        both sexes (*from memory*); the fit says more where perspective does.
    grip, grip_sd : metres from the butt to the middle of the knuckles.
    across, along : of the lifted hand, square to the line of sight and along it, statures. keeps : seconds after which
        its error has dropped to 1/e.
    wild : departures from a picture position beyond this many standard deviations soon stop to count.
    still, swing, hit : rad/s^2 about each axis at 60 frames a second (white, as ``lift``'s): always, within about
        ``swing_reach`` seconds of contact, and within ``hit_reach``. Half as large again as the generated swings'.
    loose : factor on it next to contact, where the ball turns the racket (row E18).
    pace : rad/s, of the racket's turning, with a memory of ``pace_reach`` seconds: keeps it from turning on and on
        where nothing is seen.
    bent, bent_sd : degrees between forearm and racket up to which nothing is said; the largest in generated strokes of
        all kinds is 116. Wrists allow no more (*from memory* of ranges of movement: 35 degrees of ulnar deviation, and
        the handle crosses the palm at about 60).
    facing, facing_sd : degrees between the face and the head's path at contact up to which nothing is said: strings
        that hit a ball face it. 20 to 60 in generated forehands.
    warm : costs count for this much less when paths are weighed: neighbouring frames err alike.
    most : paths fitted. rounds : of the fit, at most.
    picture_off : factor on the stated errors of picture positions, for the drawn rackets. lasting : seconds after which
        those errors have dropped to 1/e.
    draws : rackets drawn where no bodies are given.
    near : seconds from a frame with a pose to the frames that it carries. wrong : degrees of the face normal that count
        as wrong; doubt : share of drawn rackets that may be so in a frame that is called seen.
    """

    stature: float = 1.75
    stature_sd: float = 0.06
    grip: float = 0.09
    grip_sd: float = 0.03
    across: float = 0.02
    along: float = 0.05
    keeps: float = 0.1
    wild: float = 4.0
    still: float = 30.0
    swing: float = 60.0
    swing_reach: float = 0.4
    hit: float = 500.0
    hit_reach: float = 0.06
    loose: float = 10.0
    pace: float = 20.0
    pace_reach: float = 0.1
    bent: float = 110.0
    bent_sd: float = 10.0
    facing: float = 50.0
    facing_sd: float = 10.0
    warm: float = 3.0
    most: int = 6
    rounds: int = 30
    picture_off: float = 1.0
    lasting: float = 0.03
    draws: int = 24
    near: float = 0.1
    wrong: float = 20.0
    doubt: float = 0.2
