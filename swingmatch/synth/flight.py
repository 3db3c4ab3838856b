"""The ball: in from the other side, one bounce, struck, and out again."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

GRAVITY = 9.81
RADIUS = 0.033  # metres; 6.54-6.86 cm across (D2, *from memory* there)
#: Seconds before contact of the opponent's stroke and of the bounce; after contact until it is out of sight.
OPPONENT, BOUNCE, OUT = 1.45, 0.44, 0.9
#: Ground speeds before and after the bounce, and off the racket, m/s: a rally ball (*common practice, no source*).
SPEED_IN, SPEED_BOUNCED, SPEED_OUT = 17.0, 9.5, 27.0


def flight(times: Array, contact: float, spot: Array, lateral: float = -0.06) -> Array:
    """Ball positions (T, 3) metres, NaN where it is not in play.

    Free flight under gravity in three pieces that meet at the bounce and at ``spot`` (3,), where it is at time
    ``contact`` exactly. ``lateral`` is the sideways share of its ground speed. Topspin is left out except that
    the outgoing ball drops under 1.5 times gravity.
    """
    ball = np.full((len(times), 3), np.nan)
    u = times - contact
    heading = np.array([-1.0, 0.0, -lateral])

    rising = (u >= -BOUNCE) & (u < 0.0)
    after = (spot[1] - RADIUS + 0.5 * GRAVITY * BOUNCE**2) / BOUNCE
    s = u[rising] + BOUNCE
    bounce = spot + heading * -SPEED_BOUNCED * BOUNCE
    ball[rising] = bounce + heading * SPEED_BOUNCED * s[:, None]
    ball[rising, 1] = RADIUS + after * s - 0.5 * GRAVITY * s**2

    coming = (u >= -OPPONENT) & (u < -BOUNCE)
    span = OPPONENT - BOUNCE
    launch = 1.0
    up = (RADIUS - launch + 0.5 * GRAVITY * span**2) / span
    s = u[coming] + OPPONENT
    ball[coming] = bounce + heading * SPEED_IN * (s - span)[:, None]
    ball[coming, 1] = launch + up * s - 0.5 * GRAVITY * s**2

    going = (u >= 0.0) & (u <= OUT)
    s = u[going]
    ball[going] = spot + np.outer(s, [SPEED_OUT, 0.0, SPEED_OUT * lateral])
    ball[going, 1] = np.maximum(spot[1] + 0.16 * SPEED_OUT * s - 0.75 * GRAVITY * s**2, RADIUS)
    return ball
