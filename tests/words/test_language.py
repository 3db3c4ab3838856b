"""Translations are complete, agree with the source, and are compiled."""

from __future__ import annotations

import re
from datetime import date

import polib
import pytest

from swingmatch.errors import SwingmatchError
from swingmatch.findings.messages import wanted
from swingmatch.words import say, units
from swingmatch.words.language import DOMAINS, LANGUAGES, _, choose, decimal, language, speaking
from swingmatch.words.po import Message, compiled, marked, po_path

OTHERS = [(code, domain) for code in LANGUAGES if code != "en" for domain in DOMAINS]


def entries(code, domain):
    return list(polib.pofile(str(po_path(code, domain))))


def texts(entry):
    return list(entry.msgstr_plural.values()) if entry.msgid_plural else [entry.msgstr]


@pytest.mark.parametrize(("code", "domain"), OTHERS)
def test_every_message_in_use_is_translated_and_none_besides(code, domain):
    there = {Message(e.msgid, e.msgid_plural or "", e.msgctxt or "") for e in entries(code, domain)}
    assert there == wanted()[domain]
    assert [e.msgid for e in entries(code, domain) if not all(texts(e)) or e.fuzzy] == []


@pytest.mark.parametrize(("code", "domain"), OTHERS)
def test_placeholders_and_ends_agree(code, domain):
    holes = re.compile(r"\{\w*\}")
    for entry in entries(code, domain):
        source = entry.msgid_plural or entry.msgid
        for text in texts(entry):
            asked = set(holes.findall(source)) if entry.msgid_plural else set(holes.findall(entry.msgid))
            given = set(holes.findall(text))
            # The singular of a plural may do without its number.
            assert given <= asked, (entry.msgid, text)
            assert entry.msgid_plural or given == asked, (entry.msgid, text)
            assert text.endswith(".") == entry.msgid.endswith("."), (entry.msgid, text)


@pytest.mark.parametrize(("code", "domain"), OTHERS)
def test_what_gettext_reads_is_up_to_date(code, domain):
    path = po_path(code, domain)
    assert path.with_suffix(".mo").read_bytes() == compiled(path)


def test_the_marks_of_a_source_are_found():
    source = '_("one")\nngettext("a swing", "{n} swings", k)\npgettext("month", "May")\nN_("two")\n_(name)\nf("no")'
    assert marked(source) == {
        Message("one"), Message("a swing", many="{n} swings"), Message("May", context="month"), Message("two"),
    }  # fmt: skip


def test_the_language_asked_for_goes_before_the_environment():
    assert choose("de", {"SWINGMATCH_LANGUAGE": "en"}) == "de"
    assert choose(None, {"SWINGMATCH_LANGUAGE": "de_AT.UTF-8", "LANG": "en_GB.UTF-8"}) == "de"
    assert choose(None, {"LC_ALL": "C", "LANG": "de_DE.UTF-8"}) == "en"
    assert choose(None, {"LANG": "de_DE.UTF-8"}) == "de"
    assert choose(None, {"LANG": "xx_YY"}) == "en"
    assert choose(None, {}) == "en"
    with pytest.raises(SwingmatchError, match='"xx" is not there; there are English'):
        choose("xx", {})


def test_a_language_holds_within_its_block_only():
    assert language() == "en"
    with speaking("de"):
        assert _("What to change") == "Was sich ändern soll"
        assert decimal(-1.25, 2) == "−1,25"
        assert _("a coach's own words") == "a coach's own words"
        assert _("") == ""
    assert _("What to change") == "What to change"
    assert decimal(-0.001, 1) == "0.0"


@pytest.mark.parametrize(
    ("value", "unit", "doubt", "words"),
    [
        # 0.13 arm lengths of 0.386 statures are 0.050 statures, one hand (0.05 statures).
        (-0.13, "arm lengths", 0.05, "about one hand width"),
        (0.26, "arm lengths", 0.05, "about 2 hand widths"),
        (0.17, "hip-to-shoulder", 0.05, "about one hand width"),
        (0.5, "statures", 0.05, "about 1.3 arm lengths"),
        (-0.5, "shoulder widths", 0.1, "about half a shoulder width"),
        (1.5, "shoulder widths", 0.1, "about 1.5 shoulder widths"),
        (100.0, "ms", 10.0, "about a tenth of a second"),
        (13.0, "deg", 2.0, "a little"),
        (40.0, "deg", 2.0, "much"),
    ],
)
def test_sizes_as_a_player_sees_them(value, unit, doubt, words):
    assert units.size(value, unit, doubt, 12.0) == words


@pytest.mark.parametrize(
    ("degrees", "words"),
    [
        (0, "12 o'clock"),
        (-15, "half past 11 on the clock"),
        (90, "3 o'clock"),
        (345, "half past 11 on the clock"),
    ],
)
def test_clock(degrees, words):
    assert units.clock(degrees) == words


@pytest.mark.parametrize(
    ("days", "words"),
    [
        (0, "another clip of the same day, 1 May 2026"),
        (1, "of 1 May 2026, 1 day earlier"),
        (31, "of 1 May 2026, 31 days earlier"),
    ],
)
def test_how_long_ago_the_last_review_was(days, words):
    with speaking("en"):
        assert words in say.since_opening(date(2026, 5, 1), days, True)
