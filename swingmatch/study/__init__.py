"""The accuracy study: clips with known truth go through the whole analysis, and the errors are tabled.

``python -m swingmatch.study calibrate`` writes ``findings/accuracy.json`` from the figures kept for tuning;
``python -m swingmatch.study report`` prints the tables for figures, cameras and styles that nothing was tuned on, with
what is aimed for beside what came out; ``--mocap FOLDER`` does so for the movement of recorded players.
"""
