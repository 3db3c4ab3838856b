"""What is measured in a stroke: series over time and values, one function each, whose docstring is the definition.

All take a ``Movement``: the ball is on the right, X leads to the target, Y up, Z to the ball's side. "Outside" is the
ball's side, "front" the other one. A value that cannot be told is NaN. The tables of which are taken, and where, stand
in the strokes' definitions.
"""
