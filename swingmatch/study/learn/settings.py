"""Every number of the training."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class LearnSettings:
    """What is learnt from, how it is varied, and how long.

    Attributes
    ----------
    clips : clips of the study that are rendered and tracked, from the first seed of ``TUNING`` on.
    first_motion, motions : further generated movements, never rendered: place of the first in ``TUNING``, and number.
    shortest : least seconds of a recorded stroke and its surroundings.
    folds : parts into which the clips are split for ``--fold``.
    seed : of weights at the start, of folds and of every draw.
    steps, batch, peak_rate, weight_decay, longest_gradient : AdamW with one cycle of the learning rate.
    channels, dropout : of the network.
    own, recorded : shares of examples that are a clip as it is, and a recorded movement with a clip's errors; the
        rest is a generated movement with a clip's errors.
    other_hand : share of the examples with a clip's errors whose errors are those of the clip's mirror image.
    exact, least_errors, most_errors : share of the examples with a clip's errors that have none after all, and bounds
        of the factor on them in the others.
    flattest : least factor on the depth of the pose model's own 3-D in those without errors.
    slowest, fastest : bounds of the factor on the speed of a movement.
    azimuth_sd : degrees by which a movement is turned away from the camera side of the clip whose errors it gets.
    pitch_sd, roll_sd : radians by which the camera is tipped.
    image_drift, world_drift, jitter : largest standard deviations of slow drifts and of jitter, statures.
    drift_knots : drifts are straight lines between this many draws over a stretch.
    all_visible : share of examples in which every keypoint counts as in plain view. turned_round, mirrored : shares.
    weigh_exchanged, weigh_hand, weigh_target : weights of the losses beside that of depth.
    hand_within : seconds round contact in which the hand is to be told.
    """

    clips: int = 64
    first_motion: int = 100
    motions: int = 800
    shortest: float = 1.6
    folds: int = 4
    seed: int = 0
    steps: int = 4600
    batch: int = 128
    peak_rate: float = 2e-3
    weight_decay: float = 1e-3
    longest_gradient: float = 1.0
    channels: int = 128
    dropout: float = 0.1
    own: float = 0.25
    recorded: float = 0.30
    other_hand: float = 0.4
    exact: float = 0.2
    least_errors: float = 0.3
    most_errors: float = 1.3
    flattest: float = 0.2
    slowest: float = 0.8
    fastest: float = 1.25
    azimuth_sd: float = 10.0
    pitch_sd: float = 0.05
    roll_sd: float = 0.03
    image_drift: float = 0.014
    world_drift: float = 0.035
    jitter: float = 0.003
    all_visible: float = 0.2
    drift_knots: int = 12
    turned_round: float = 0.08
    mirrored: float = 0.5
    weigh_exchanged: float = 0.3
    weigh_hand: float = 0.2
    weigh_target: float = 0.3
    hand_within: float = 0.5
