"""How the camera stands to the court: its yaw against the two directions of the painted lines.

All lines of a court run one of two ways, at right angles on the ground (ITF Rules of Tennis, row D2 of the check
values). The camera's yaw against them is fitted with its pitch, its roll and its field of view, each of which is known
beforehand as a phone beside a court is held. What does not agree with that is no court.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares
from scipy.stats import norm

from swingmatch.body.lift import FOCAL
from swingmatch.court.lines import Line
from swingmatch.stroke.direction import wrap

Array = NDArray[np.float64]

#: What is known of the camera before any line is seen (*common practice, no source*): height of the lens, metres;
#: pitch without a player to tell it by, positive looking down, and roll, degrees; relative spread of the focal length
#: (phones' main lenses, 55 to 75 degrees across, *from memory*).
_HEIGHT, _HEIGHT_SD = 1.35, 0.40
_PITCH, _PITCH_SD, _ROLL_SD, _FOCAL_SD = 3.0, 6.0, 1.5, 0.10
#: Height of an adult, metres, as for the sound's way (``stroke.contact``).
_STATURE = 1.75
#: Width of painted lines, metres: 2.5 to 5 cm, the baseline up to 10 cm (row D2). The camera's height is known to a
#: third, the edges of a band in the picture to about a pixel.
_NARROWEST, _WIDEST, _DOUBT, _EDGE = 0.025, 0.10, 1.5, 1.5
#: A line's direction in the picture: its ends are found to about a pixel, and a phone's lens bends it a little
#: (*no source*), degrees.
_END, _BENT = 1.0, 0.35
#: Departures beyond this many standard deviations are of something else than the court's lines.
_ASTRAY = 3.0
#: Lines nearer to the horizon than this are not looked at: slope of the sight, 1/16 for a lens 1.3 m high and 20 m.
_LOWEST_SIGHT = 0.05
#: Seen length of lines that fit, as a share of the picture's longer side: in all, and of the lesser direction for the
#: right angle to count as seen.
_ENOUGH, _LESSER = 0.25, 0.08
#: Share of the candidates' length that has to fit; another yaw must explain so much less than the best.
_SHARE, _RIVAL = 0.6, 0.8
#: The lines' root mean square departure, and how far the camera may be from what is likely, standard deviations of all
#: three together (chi-square of 3: nine cameras in ten are nearer). Courts of the tuning seeds stay under 0.65 and 1.9;
#: marks at 50 to 70 degrees to each other mostly do not.
_LOOSE, _UNLIKELY = 0.75, 2.5
#: Yaw known less well than this says nothing, degrees. Error beyond the lines' own: a court is not painted exactly
#: square, and a lens is not exactly in the middle (*no source*).
_USELESS, _FLOOR = 15.0, 0.5

#: Standard deviation of where the ball is sent about the court's long axis, degrees: from places and to aims spread
#: evenly over 6 m across and 7 m across, 21 m apart (the singles court, row D2, less a margin; the spread itself is
#: *common practice, no source*): sqrt(6**2 / 12 + 7**2 / 12) / 21 radians.
DIRECTION_OF_PLAY_SD = 7.3
#: A direction read from the movement that is more standard deviations off than this contradicts the lines.
_CONTRADICTS = 3.0
#: Odds at which one of the four directions is taken.
_ODDS = 10.0


@dataclass(frozen=True)
class Body:
    """The player as a measure of the scene.

    ``feet`` (2,) pixels between the feet; ``height`` of the body, pixels.
    """

    feet: Array
    height: float


@dataclass(frozen=True)
class CourtYaw:
    """The camera's yaw against the painted lines.

    Attributes
    ----------
    yaw : degrees, 0 up to 90: were the ball sent along a line, the camera's azimuth would be this, or this and 90, 180
        or 270.
    sd : its standard deviation, degrees.
    pitch, roll : degrees, of the camera, positive looking down and leaning to its right.
    square : whether both directions were seen.
    lines : number of lines that fit.
    """

    yaw: float
    sd: float
    pitch: float
    roll: float
    square: bool
    lines: int


def azimuth_from_court(yaw: CourtYaw, told: float, told_sd: float) -> tuple[float, float] | None:
    """Azimuth of the camera against the direction of play from the lines and from the movement together.

    Parameters
    ----------
    told, told_sd : azimuth as the movement tells it and its standard deviation, degrees.

    Returns
    -------
    Azimuth in (-180, 180] and its standard deviation, degrees; None where the movement does not tell which of the
    lines' four directions is the long axis, or contradicts them all.
    """
    off = np.array([wrap(yaw.yaw + 90.0 * k - told) for k in range(4)])
    court_sd = float(np.hypot(yaw.sd, DIRECTION_OF_PLAY_SD))
    spread = float(np.hypot(court_sd, told_sd))
    order = np.argsort(np.abs(off))
    best, other = off[order[:2]]
    odds = norm.logpdf(best, scale=spread) - norm.logpdf(other, scale=spread)
    if odds < np.log(_ODDS) or abs(best) > _CONTRADICTS * spread:
        return None
    share = told_sd**2 / spread**2
    return wrap(told + share * best), court_sd * told_sd / spread


def yaw_of_lines(lines: Sequence[Line], size: tuple[int, int], body: Body | None = None) -> CourtYaw | None:
    """The camera's yaw against a court whose lines are among ``lines``; None where they are not a court's.

    Parameters
    ----------
    lines : pixels of a picture of ``size`` (width, height). body : the player there, if one is in view.
    """
    if not lines:
        return None
    fit = _Fit(lines, size, body)
    start, rival = fit.search()
    if start is None:
        return None
    return fit.refined(start, rival)


class _Fit:
    """Lines of one picture against the four unknowns: yaw, pitch, roll (radians), logarithm of the focal length."""

    def __init__(self, lines: Sequence[Line], size: tuple[int, int], body: Body | None) -> None:
        self._long_side = float(max(size))
        centre = np.array([0.5 * (size[0] - 1), 0.5 * (size[1] - 1)])
        # Pixels from the middle, y up.
        flip = np.array([1.0, -1.0])
        self._middle = np.array([line.middle - centre for line in lines]) * flip
        way = np.array([(line.stop - line.start) / line.length for line in lines]) * flip
        self._normal = np.stack([-way[:, 1], way[:, 0]], axis=1)
        self._width = np.array([line.width for line in lines])
        self._seen = np.array([line.seen for line in lines])
        length = np.array([line.length for line in lines])
        self._sd = np.hypot(np.sqrt(2.0) * _END / (0.5 * length), np.radians(_BENT))
        self._height = _HEIGHT
        pitch, pitch_sd = np.radians(_PITCH), np.radians(_PITCH_SD)
        if body is not None and body.height > 0.0:
            # The horizon crosses the body at the height of the lens.
            focal = FOCAL * self._long_side
            up = (centre[1] - body.feet[1]) + body.height * _HEIGHT / _STATURE
            pitch, pitch_sd = np.arctan(up / focal), body.height * _HEIGHT_SD / _STATURE / focal
        self._prior = np.array([0.0, pitch, 0.0, np.log(FOCAL * self._long_side)])
        self._prior_sd = np.array([np.inf, pitch_sd, np.radians(_ROLL_SD), _FOCAL_SD])

    def _turns(self, x: Array, yaws: Array | None = None) -> tuple[Array, Array]:
        """Turns (..., N, 2) of each line from the two directions, in standard deviations, and sights (N,).

        A turn is the sine of the angle between the line in the picture and the way in which a point at its middle
        would move along the ground. A sight is the slope at which a line's middle is looked down on. With ``yaws``
        (Y,) radians the turns are those of each, (Y, N, 2), and that of ``x`` is not used.
        """
        pitch, roll, focal = x[1], x[2], np.exp(x[3])
        rays = np.column_stack([self._middle / focal, -np.ones(len(self._middle))])
        cp, sp, cr, sr = np.cos(pitch), np.sin(pitch), np.cos(roll), np.sin(roll)
        about_x = np.array([[1.0, 0.0, 0.0], [0.0, cp, -sp], [0.0, sp, cp]])
        about_z = np.array([[cr, -sr, 0.0], [sr, cr, 0.0], [0.0, 0.0, 1.0]])
        to_camera = about_z @ about_x
        angle = np.asarray(x[0] if yaws is None else yaws)[..., None] + np.array([0.0, 0.5 * np.pi])
        way = np.stack([np.sin(angle), np.zeros_like(angle), np.cos(angle)], axis=-1) @ to_camera.T
        way = way[..., None, :, :]
        # The way in the picture of a point that moves along the ground: (..., N, 2 directions, 2 axes).
        moved = way[..., :2] + rays[:, None, :2] * way[..., 2:]
        size = np.maximum(np.linalg.norm(moved, axis=-1), 1e-9)
        turns = (moved * self._normal[:, None]).sum(axis=-1) / size / self._sd[:, None]
        return turns, -(rays @ to_camera[:, 1])

    def _ground(self, x: Array) -> NDArray[np.bool_]:
        """Which lines can be paint on the ground: below the horizon, and as wide as paint there."""
        _, sight = self._turns(x)
        below = sight > _LOWEST_SIGHT
        # Pixels of one metre at a line's middle: aside, and foreshortened by the sight straight away from the camera;
        # the line's normal takes its part of each.
        per_metre = np.maximum(sight, 1e-6) * np.exp(x[3]) / self._height
        aside, away = np.abs(self._normal[:, 0]), np.abs(self._normal[:, 1])
        across = per_metre * np.hypot(aside, away * np.maximum(sight, 1e-6))
        wide = self._width <= _DOUBT * _WIDEST * across + _EDGE
        narrow = self._width >= _NARROWEST / _DOUBT * across - _EDGE
        return below & wide & narrow

    def search(self) -> tuple[Array | None, float]:
        """The best of a grid of yaws and pitches, and what the best of the other yaws explains, as a share of that."""
        best_score, best = 0.0, None
        yaws = np.radians(np.arange(0.0, 90.0, 1.5))
        scores = np.zeros(len(yaws))
        for pitch in self._prior[1] + self._prior_sd[1] * np.linspace(-2.0, 2.0, 17):
            x = self._prior.copy()
            x[1] = pitch
            ground = self._ground(x)
            if not ground.any():
                continue
            before = np.exp(-0.5 * ((pitch - self._prior[1]) / self._prior_sd[1]) ** 2)
            turns, _ = self._turns(x, yaws)
            # The grid is coarse and the roll not yet known: two degrees more.
            loose = np.abs(turns).min(axis=-1) * self._sd / np.hypot(self._sd, np.radians(2.0))
            explained = before**0.25 * (np.exp(-0.5 * loose**2) @ (self._seen * ground))
            scores = np.maximum(scores, explained)
            k = int(np.argmax(explained))
            if explained[k] > best_score:
                best_score, best = float(explained[k]), x.copy()
                best[0] = yaws[k]
        if best is None:
            return None, 0.0
        apart = np.abs((np.degrees(yaws - best[0]) + 45.0) % 90.0 - 45.0)
        return best, float(scores[apart > 12.0].max() / best_score)

    def refined(self, start: Array, rival: float) -> CourtYaw | None:
        """Least squares from a start, once more without what is astray; None where it is no court."""
        x = start
        for _ in range(4):
            turns, _sight = self._turns(x)
            family = np.abs(turns).argmin(axis=1)
            ground = self._ground(x)
            off = np.abs(turns).min(axis=1)
            # Robust by Geman and McClure's weight, so that one line astray does not pull.
            weight = np.where(ground, 1.0 / (1.0 + (off / _ASTRAY) ** 2), 0.0)
            x = self._solved(x, family, weight)
        turns, _ = self._turns(x)
        family = np.abs(turns).argmin(axis=1)
        ground = self._ground(x)
        fits = ground & (np.abs(turns).min(axis=1) < _ASTRAY)
        seen = self._seen / self._long_side
        by_family = np.array([seen[fits & (family == k)].sum() for k in (0, 1)])
        square = bool(by_family.min() >= _LESSER)
        if by_family.sum() < _ENOUGH or by_family.sum() < _SHARE * seen[ground].sum():
            return None
        if rival > _RIVAL and not square:
            return None
        x = self._solved(x, family, fits.astype(float))
        residuals = self._residuals(x, family, fits.astype(float))
        off, unlike = residuals[: len(family)][fits], residuals[len(family) :]
        if np.average(off**2, weights=seen[fits]) > _LOOSE**2 or np.linalg.norm(unlike) > _UNLIKELY:
            return None
        sd = float(np.degrees(self._spread(x, family, fits)))
        sd = float(np.hypot(sd, _FLOOR))
        if not sd < _USELESS:
            return None
        pitch, roll = np.degrees(x[1:3])
        return CourtYaw(
            float(np.degrees(x[0]) % 90.0), sd, float(pitch), float(roll), square, int(fits.sum())
        )

    def _residuals(self, x: Array, family: NDArray[np.int_], weight: Array) -> Array:
        turns, _ = self._turns(x)
        chosen = turns[np.arange(len(family)), family] * weight
        return np.concatenate([chosen, ((x - self._prior) / self._prior_sd)[1:]])

    def _solved(self, x: Array, family: NDArray[np.int_], weight: Array) -> Array:
        return np.asarray(least_squares(self._residuals, x, args=(family, weight), max_nfev=30).x)

    def _spread(self, x: Array, family: NDArray[np.int_], fits: NDArray[np.bool_]) -> float:
        """Standard deviation of the yaw, radians, from the curvature at the fit."""
        jac = least_squares(self._residuals, x, args=(family, fits.astype(float)), max_nfev=1).jac
        normal = jac.T @ jac
        if np.linalg.cond(normal) > 1e12:
            return np.inf
        return float(np.sqrt(np.linalg.inv(normal)[0, 0]))
