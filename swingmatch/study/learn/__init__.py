"""Training of the network that ``body.reading`` runs.

``python -m swingmatch.study.learn --clips FOLDER [--mocap FOLDER]`` renders and tracks what is missing in ``FOLDER``,
trains, and writes ``body/reading.npz``. With ``--fold K`` a quarter of the clips is left out of the training, and the
errors on them are printed.

It learns from what may be tuned on alone: generated figures of the seeds ``TUNING`` and, where the folder of recordings
is there, every stroke of ``TUNING_PLAYERS``. ``examples`` draws on nothing else.

The shipped weights were made on a GPU in about two minutes, with clips that an earlier state of generator and tracking
made, of which five of the first 64 seeds were missing. They cannot be made again bit by bit: another machine, another
pose model or another generator gives other weights, which should be as good. On generated clips that were left out,
depth was then off by 0.015 statures (root mean square), the estimator's own depth, scaled to the true segments, by
0.054.
"""
