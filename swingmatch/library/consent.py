"""What a consent allows, when it ends, and what is wrong with one, as plain functions of the record and the day.

These rules keep what was agreed; they do not say what has to be agreed. Local law and the rules of the club decide
that, above all where a minor is filmed. Asking the parent or carer *and* the child, saying why, how the film is used,
how it is kept and when it is deleted, is what clubs ask for (row "Filming minors" of the check values).
"""

from __future__ import annotations

import calendar
import hashlib
from collections.abc import Iterable, Mapping
from datetime import date, timedelta
from pathlib import Path

from swingmatch.errors import LibraryError
from swingmatch.library.records import Consent, Purpose

#: Days before its end from which a consent is warned of.
WARN_DAYS = 30
#: Months for which a player's footage is kept, where the coach says nothing else. *Common practice, no source*: two
#: seasons. Local law and the club's rules may ask for less.
KEEP_MONTHS = 24

_WORDS: Mapping[Purpose, str] = {
    "own_use": "the coach's own use",
    "show_students": "showing to students",
    "show_face": "showing the face",
    "shared_set": "passing on in a shared set",
}


def may(consent: Consent | None, purpose: Purpose, on: date) -> bool:
    """Whether the consent allows the purpose on that day; without one nothing is allowed."""
    return consent is not None and why_not(consent, purpose, on) is None


def face_may_show(consent: Consent | None, on: date) -> bool:
    """Whether the face may be seen in what leaves the machine; where not, it is blurred."""
    return may(consent, "show_face", on)


def why_not(consent: Consent, purpose: Purpose, on: date) -> str | None:
    """The sentence that says why the purpose is not allowed on that day, or None where it is."""
    who = consent.code
    if consent.withdrawn_on is not None and on >= consent.withdrawn_on:
        return f"{who} withdrew the consent on {consent.withdrawn_on}."
    if consent.minor and not (consent.guardian or "").strip():
        return f"{who} is a minor and no guardian is on record; local law and the club's rules say who has to agree."
    if on < consent.agreed_on:
        return f"The consent of {who} starts on {consent.agreed_on}."
    if consent.until is not None and on > consent.until:
        return f"The consent of {who} ended on {consent.until}."
    if not getattr(consent, purpose):
        return f"{who} did not agree to {_WORDS[purpose]}."
    return None


def check_consent(consent: Consent) -> None:
    """Raise a LibraryError, one sentence, where the record cannot be one."""
    who = consent.code.strip()
    if not who or who != consent.code or len(who) > 64:
        raise LibraryError(
            "A consent needs the code of the person, at most 64 letters without space around them."
        )
    if consent.minor and not (consent.guardian or "").strip():
        raise LibraryError(
            f"{who} is a minor: please record the guardian who agreed; local law and the club's rules say who has to."
        )
    if not consent.own_use:
        raise LibraryError(f"{who} did not agree to the coach's own use, so nothing of {who} can be kept.")
    if consent.until is not None and consent.until < consent.agreed_on:
        raise LibraryError(
            f"The consent of {who} ends on {consent.until}, before it was given ({consent.agreed_on})."
        )
    paper = consent.paper_sha256
    if paper is not None and (len(paper) != 64 or set(paper) - set("0123456789abcdef")):
        raise LibraryError(f"The hash of the paper that {who} signed is not one of 64 hexadecimal digits.")


def in_force(consents: Iterable[Consent]) -> dict[str, Consent]:
    """By code, the record that counts: the latest that was agreed."""
    latest: dict[str, Consent] = {}
    for consent in consents:
        other = latest.get(consent.code)
        if other is None or consent.agreed_on >= other.agreed_on:
            latest[consent.code] = consent
    return latest


def warnings(consents: Iterable[Consent], on: date) -> list[str]:
    """A sentence for every person whose consent has ended or ends within ``WARN_DAYS`` days."""
    found = []
    for code, consent in sorted(in_force(consents).items()):
        if consent.until is None:
            continue
        left = (consent.until - on).days
        if left < 0:
            found.append(
                f"The consent of {code} ended on {consent.until}; what it allowed is hidden until it is renewed."
            )
        elif left <= WARN_DAYS:
            days = "today" if left == 0 else "tomorrow" if left == 1 else f"in {left} days"
            found.append(
                f"The consent of {code} ends {days} ({consent.until}); ask in time whether it may go on."
            )
    return found


def words(consent: Consent) -> str:
    """The consent in one sentence, without the name and the guardian."""
    agreed = [text for purpose, text in _WORDS.items() if getattr(consent, purpose)]
    end = f" until {consent.until}" if consent.until else ""
    young = " by the guardian of a minor" if consent.minor else ""
    return f"Given on {consent.agreed_on}{young} for {', '.join(agreed) or 'nothing'}{end}."


def hash_of_paper(path: Path) -> str:
    """SHA-256 of the signed paper's picture or scan, which itself is not taken into the library."""
    try:
        with open(path, "rb") as file:
            digest = hashlib.sha256()
            while piece := file.read(1 << 20):
                digest.update(piece)
            return digest.hexdigest()
    except OSError as error:
        raise LibraryError(f"The signed paper {path} cannot be read ({error.strerror}).") from error


def keep_until(filmed_on: date, months: int = KEEP_MONTHS) -> date:
    """The last day on which footage is kept: so many months later, less a day."""
    month = filmed_on.month - 1 + months
    year, month = filmed_on.year + month // 12, month % 12 + 1
    day = min(filmed_on.day, calendar.monthrange(year, month)[1])
    return date(year, month, day) - timedelta(days=1)
