"""What a consent allows on which day, and the library's folder."""

from datetime import date, timedelta
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from swingmatch.errors import LibraryError
from swingmatch.library.consent import (
    check_consent,
    face_may_show,
    hash_of_paper,
    in_force,
    keep_until,
    may,
    warnings,
    why_not,
    words,
)
from swingmatch.library.home import database_url, home_folder
from swingmatch.library.records import PURPOSES, Consent

DAY = date(2026, 3, 1)
days = st.dates(date(2020, 1, 1), date(2035, 1, 1))


def test_without_a_consent_nothing_is_allowed():
    assert not any(may(None, purpose, DAY) for purpose in PURPOSES)


@given(st.sets(st.sampled_from(PURPOSES)), days, days, st.none() | days, st.none() | days)
def test_allowed_is_what_was_agreed_between_its_first_and_its_last_day(agreed, on, first, until, withdrawn):
    consent = Consent(
        code="V07",
        agreed_on=first,
        until=until,
        withdrawn_on=withdrawn,
        **{purpose: purpose in agreed for purpose in PURPOSES},
    )
    inside = first <= on and (until is None or on <= until) and (withdrawn is None or on < withdrawn)
    for purpose in PURPOSES:
        assert may(consent, purpose, on) == (inside and purpose in agreed)
        assert (why_not(consent, purpose, on) is None) == may(consent, purpose, on)
    assert face_may_show(consent, on) == may(consent, "show_face", on)


def test_a_minor_needs_a_guardian():
    for guardian in (None, "", "  "):
        consent = Consent(code="V07", agreed_on=DAY, minor=True, guardian=guardian)
        assert not may(consent, "own_use", DAY)
        with pytest.raises(LibraryError, match=r"guardian.*local law and the club's rules"):
            check_consent(consent)
    check_consent(Consent(code="V07", agreed_on=DAY, minor=True, guardian="mother"))


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"code": " "}, "code"),
        ({"code": "x" * 65}, "code"),
        ({"until": DAY - timedelta(days=1)}, "before it was given"),
        ({"paper_sha256": "abc"}, "64 hexadecimal"),
        ({"own_use": False}, "own use"),
    ],
)
def test_a_record_that_cannot_be_one(changes, says):
    with pytest.raises(LibraryError, match=says):
        check_consent(Consent(**({"code": "V07", "agreed_on": DAY} | changes)))


def test_the_latest_record_counts():
    first = Consent(code="A", agreed_on=DAY, show_face=True)
    later = Consent(code="A", agreed_on=DAY + timedelta(days=1))
    assert in_force([later, first]) == in_force([first, later]) == {"A": later}


@pytest.mark.parametrize(
    ("left", "says"), [(31, None), (30, "in 30 days"), (1, "tomorrow"), (0, "today"), (-1, "ended on")]
)
def test_warned_before_the_end(left, says):
    found = warnings(
        [Consent(code="A", agreed_on=DAY, until=DAY + timedelta(days=100))], DAY + timedelta(100 - left)
    )
    assert (found == []) if says is None else (says in found[0])


def test_words_name_nobody():
    said = words(Consent(code="V07", agreed_on=DAY, minor=True, guardian="G", name="N", show_face=True))
    assert said == (
        "Given on 2026-03-01 by the guardian of a minor for the coach's own use, showing the face."
    )


def test_footage_is_kept_for_whole_months_less_a_day():
    assert keep_until(date(2026, 3, 1)) == date(2028, 2, 29)
    assert keep_until(date(2026, 1, 31), 1) == date(2026, 2, 27)
    assert keep_until(date(2026, 12, 15), 12) == date(2027, 12, 14)


def test_the_paper_is_hashed_and_not_kept(tmp_path):
    (tmp_path / "paper").write_bytes(b"abc")
    # The example of FIPS 180-2, appendix B.1.
    assert hash_of_paper(tmp_path / "paper").startswith("ba7816bf8f01cfea414140de5dae2223")
    with pytest.raises(LibraryError, match="cannot be read"):
        hash_of_paper(tmp_path / "none")


def test_the_folder(tmp_path):
    assert home_folder(tmp_path, {"SWINGMATCH_HOME": "/elsewhere"}) == tmp_path
    assert home_folder(None, {"SWINGMATCH_HOME": "/elsewhere"}) == Path("/elsewhere")
    assert home_folder(None, {}).name == "swingmatch"
    assert database_url(None, tmp_path, {}) == f"sqlite:///{tmp_path}/library.sqlite"
    assert (
        database_url(None, tmp_path, {"SWINGMATCH_DATABASE": "postgresql://a/b"})
        == "postgresql+psycopg://a/b"
    )
