"""The files of translations: new messages are entered, files for people become files for gettext.

For whoever translates; needs ``polib`` (in the extra ``test``). What is to be translated is said by
``swingmatch.findings.messages``, which can be run.
"""

from __future__ import annotations

import ast
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from swingmatch.words.language import LOCALE

_HEAD = {
    "MIME-Version": "1.0",
    "Content-Type": "text/plain; charset=UTF-8",
    "Content-Transfer-Encoding": "8bit",
    "Plural-Forms": "nplurals=2; plural=(n != 1);",
}
#: Functions that mark a text, with how many texts they take and whether the first is a context.
_MARKS = {"_": 1, "N_": 1, "ngettext": 2, "pgettext": 2}


@dataclass(frozen=True, order=True)
class Message:
    """A text to translate: ``text`` as in the source, ``many`` for several (else empty), ``context`` (else empty)."""

    text: str
    many: str = ""
    context: str = ""


def marked(source: str) -> set[Message]:
    """The messages that a module's source marks with ``_``, ``N_``, ``ngettext`` or ``pgettext``."""
    out = set()
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id in _MARKS:
            given = [arg.value for arg in node.args[: _MARKS[node.func.id]] if isinstance(arg, ast.Constant)]
            texts = [text for text in given if isinstance(text, str)]
            if node.func.id == "pgettext" and len(texts) == 2:
                out.add(Message(texts[1], context=texts[0]))
            elif node.func.id == "ngettext" and len(texts) == 2:
                out.add(Message(texts[0], many=texts[1]))
            elif node.func.id in ("_", "N_") and texts:
                out.add(Message(texts[0]))
    return out


def po_path(language: str, domain: str) -> Path:
    """The file for people."""
    return LOCALE / language / "LC_MESSAGES" / f"{domain}.po"


def bring_up_to_date(path: Path, wanted: Iterable[Message]) -> list[str]:
    """Enter new messages with an empty translation, leave out those no longer in use; the texts still to translate."""
    import polib  # type: ignore[import-untyped]

    old = {}
    if path.exists():
        old = {(entry.msgid, entry.msgctxt or ""): entry for entry in polib.pofile(str(path))}
    file = polib.POFile(wrapwidth=110)
    file.metadata = {**_HEAD, "Language": path.parent.parent.name}
    for message in sorted(wanted):
        entry = polib.POEntry(msgid=message.text, msgctxt=message.context or None)
        known = old.get((message.text, message.context))
        if message.many:
            entry.msgid_plural = message.many
            entry.msgstr_plural = dict(known.msgstr_plural) if known else {0: "", 1: ""}
        elif known:
            entry.msgstr = known.msgstr
        file.append(entry)
    path.parent.mkdir(parents=True, exist_ok=True)
    file.save(str(path))
    return [entry.msgid for entry in file.untranslated_entries()]


def compiled(path: Path) -> bytes:
    """The file for gettext that belongs to a file for people."""
    import polib

    return bytes(polib.pofile(str(path)).to_binary())


def compile_all() -> None:
    """Write every file for gettext anew."""
    for path in sorted(LOCALE.glob("*/LC_MESSAGES/*.po")):
        path.with_suffix(".mo").write_bytes(compiled(path))
