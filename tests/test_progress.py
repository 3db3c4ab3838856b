"""The bar on a terminal and on a plain stream."""

from __future__ import annotations

import io

from swingmatch.progress import Bar, silent


class Terminal(io.StringIO):
    def isatty(self):
        return True


def test_a_terminal_gets_one_line_a_step_rewritten():
    out = Terminal()
    bar = Bar(out, width=10)
    for share in (0.0, 0.5, 0.5, 0.501, 1.0):
        bar("following", share)
    bar("comparing", 1.0)
    text = out.getvalue()
    assert text.count("\r") == 4  # equal percentages are not drawn again
    assert text.count("\n") == 2
    assert "█████·····  50 %" in text
    assert text.endswith("██████████ 100 %\n")


def test_a_plain_stream_gets_each_step_once():
    out = io.StringIO()
    bar = Bar(out)
    for share in (0.0, 0.3, 1.0):
        bar("following", share)
    bar("drawing", 0.2)
    assert out.getvalue() == "following\ndrawing\n"


def test_shares_outside_are_held():
    out = Terminal()
    bar = Bar(out, width=4)
    bar("a", -1.0)
    bar("a", 7.0)
    assert "····   0 %" in out.getvalue()
    assert "████ 100 %" in out.getvalue()
    assert silent("a", 0.5) is None
