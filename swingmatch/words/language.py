"""The language that is spoken: English as it stands in the source, or a translation of it (gettext).

The language holds for the running context (``contextvars``), so that two reviews may be written at the same time in two
languages. Whoever keeps a sentence keeps it in the language in which it was made.
"""

from __future__ import annotations

import gettext as _gettext
import os
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from contextvars import ContextVar
from functools import lru_cache
from pathlib import Path

from swingmatch.errors import SwingmatchError

#: Languages that are complete, with their own names.
LANGUAGES: dict[str, str] = {"en": "English", "de": "Deutsch"}
#: Files of a language: the sentences, and the prose of the catalogue of faults.
DOMAINS = ("swingmatch", "catalogue")
LOCALE = Path(__file__).parent / "locale"
#: Asked in this order for the language where the coach names none.
VARIABLES = ("SWINGMATCH_LANGUAGE", "LC_ALL", "LC_MESSAGES", "LANG")
#: Languages that write a comma before the decimals.
_COMMA = frozenset({"de"})

_SPOKEN: ContextVar[str] = ContextVar("language", default="en")


def choose(asked: str | None = None, environment: Mapping[str, str] | None = None) -> str:
    """The language to speak: the one asked for, else that of the environment, else English.

    Raises
    ------
    SwingmatchError : a language is asked for, by name or by ``SWINGMATCH_LANGUAGE``, that there is not.
    """
    around = os.environ if environment is None else environment
    named = asked or around.get(VARIABLES[0])
    if named:
        short = _short(named)
        if short not in LANGUAGES:
            known = ", ".join(f"{name} ({code})" for code, name in LANGUAGES.items())
            raise SwingmatchError(f'The language "{named}" is not there; there are {known}.')
        return short
    # The first that is set holds, as everywhere; a language that is not there is no error, but English.
    first = next((around[name] for name in VARIABLES[1:] if around.get(name)), "en")
    return _short(first) if _short(first) in LANGUAGES else "en"


def _short(name: str) -> str:
    """``de_AT.UTF-8`` gives ``de``."""
    return name.lower().replace("-", "_").split(".")[0].split("_")[0]


def language() -> str:
    """The language that is spoken now."""
    return _SPOKEN.get()


@contextmanager
def speaking(name: str) -> Iterator[None]:
    """Within it ``name`` is spoken. Raises ``SwingmatchError`` for a language that there is not."""
    token = _SPOKEN.set(choose(name))
    try:
        yield
    finally:
        _SPOKEN.reset(token)


@lru_cache(maxsize=8)
def translations(name: str) -> _gettext.NullTranslations:
    """The translations of a language, all domains in one; those of English give back what they get."""
    out = _gettext.NullTranslations()
    if name == "en":
        return out
    for domain in reversed(DOMAINS):
        one = _gettext.translation(domain, LOCALE, [name])
        one.add_fallback(out)
        out = one
    return out


def _(text: str) -> str:
    """A sentence of the source in the language that is spoken; itself where it has no translation."""
    # gettext answers an empty text with the file's head.
    return translations(_SPOKEN.get()).gettext(text) if text else text


def ngettext(one: str, many: str, count: int) -> str:
    """A sentence in its form for ``count``."""
    return translations(_SPOKEN.get()).ngettext(one, many, count)


def pgettext(context: str, text: str) -> str:
    """A word that has different translations by its context."""
    return translations(_SPOKEN.get()).pgettext(context, text)


def N_(text: str) -> str:
    """Marks a text that is translated later, where it is used."""
    return text


def decimal(value: float, digits: int, *, signed: bool = False) -> str:
    """A number as it is written: a true minus, no minus zero, the language's mark before the decimals."""
    rounded = round(value, digits) + 0.0
    sign = "−" if rounded < 0 else "+" if signed and rounded > 0 else ""
    text = f"{abs(rounded):.{digits}f}"
    return sign + (text.replace(".", ",") if _SPOKEN.get() in _COMMA else text)
