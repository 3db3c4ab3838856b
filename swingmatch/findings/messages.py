"""All that is to be translated: sentences of the source, labels of the tables, prose of the catalogue.

``python -m swingmatch.findings.messages`` enters what is new into the files of every language and compiles them.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from swingmatch.findings.quantities import QUANTITIES
from swingmatch.stroke.strokes import STROKES
from swingmatch.words.language import LANGUAGES
from swingmatch.words.po import Message, bring_up_to_date, compile_all, marked, po_path

if sys.version_info >= (3, 11):
    import tomllib
else:
    import tomlkit as tomllib

PACKAGE = Path(__file__).parents[1]
CATALOGUE = Path(__file__).parent / "catalogue"
#: Fields of a catalogue's entry that are prose.
PROSE = frozenset({"title", "costs", "cause", "cue", "caution", "words", "steps", "dose", "confused"})


def sentences() -> set[Message]:
    """Sentences that the source marks, and labels of quantities and measures."""
    out: set[Message] = set()
    for path in PACKAGE.rglob("*.py"):
        out |= marked(path.read_text(encoding="utf-8"))
    out |= {Message(row.label) for row in QUANTITIES.values()}
    out |= {Message(row.label) for stroke in STROKES.values() for row in stroke.measures}
    return out


def prose() -> set[Message]:
    """Prose of the shipped catalogues."""
    out: set[Message] = set()
    for path in sorted(CATALOGUE.glob("*.toml")):
        out |= {Message(text) for text in _prose(tomllib.loads(path.read_text(encoding="utf-8")), False)}
    return out


def _prose(value: Any, wanted: bool) -> Iterator[str]:
    """Texts at or below the fields that are prose."""
    if isinstance(value, str):
        if wanted and value:
            yield str(value)
    elif isinstance(value, dict):
        for key, inner in value.items():
            yield from _prose(inner, wanted or key in PROSE)
    elif isinstance(value, list):
        for inner in value:
            yield from _prose(inner, wanted)


def wanted() -> dict[str, set[Message]]:
    """Domain -> its messages. What the catalogue and the source share stands with the source."""
    source = sentences()
    return {"swingmatch": source, "catalogue": prose() - source}


def main() -> int:
    """Bring the files up to date; 1 where something is still to be translated."""
    missing = 0
    for language in LANGUAGES:
        if language == "en":
            continue
        for domain, messages in wanted().items():
            left = bring_up_to_date(po_path(language, domain), messages)
            missing += len(left)
            for text in left:
                print(f"{language} {domain}: {text}")
    compile_all()
    return 1 if missing else 0


if __name__ == "__main__":
    sys.exit(main())
