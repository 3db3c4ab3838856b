"""Every number of the training of the network that finds the racket."""

from __future__ import annotations

from dataclasses import dataclass

#: Side of the pictures that are kept for training, pixels at the network's scale: more than goes in, so that they
#: can be turned and shifted.
CANVAS = 208


@dataclass(frozen=True)
class SightSettings:
    """How long, how much, how fast.

    Attributes
    ----------
    seed : of weights at the start, of the pictures and of every draw.
    minutes : of training. The schedule follows the clock, because pictures are made while it runs.
    workers : processes that make pictures. kept : pictures kept at once; the oldest give way.
    first : pictures made before the training begins. batch : pictures in a step.
    peak_rate, weight_decay, longest_gradient : AdamW with a warm-up and a cosine.
    averaged : share of the moving average of the weights that a step leaves.
    film : share of the pictures that are cut out of rendered clips.
    turn : degrees, size : log, shift : pixels; standard deviations of how the pictures are turned, scaled, shifted.
    weigh_place, weigh_present : weights of the losses beside that of the heat maps.
    soft : standard deviation of a point in the heat maps, cells.
    hidden : weight of a point of which nothing shows.
    """

    seed: int = 0
    minutes: float = 8.0
    workers: int = 14
    kept: int = 200_000
    first: int = 4_000
    batch: int = 256
    peak_rate: float = 2e-3
    weight_decay: float = 1e-2
    longest_gradient: float = 2.0
    averaged: float = 0.998
    film: float = 0.2
    turn: float = 20.0
    size: float = 0.09
    shift: float = 4.0
    weigh_place: float = 0.5
    weigh_present: float = 1.0
    soft: float = 0.8
    hidden: float = 0.25
