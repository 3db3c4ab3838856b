"""Whether the store is whole: every file read and hashed again, rows and files and search beside each other."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass

from swingmatch.errors import LibraryError
from swingmatch.library.records import Entry, Footage
from swingmatch.library.store import arrays
from swingmatch.library.store.disk import MediaFolder, hash_of


@dataclass(frozen=True)
class Contents:
    """What the rows say is there.

    Attributes
    ----------
    entries, footage : all of them. searchable : ids of models that the search has to know.
    consented : codes of people whose consent is on record.
    """

    entries: Collection[Entry]
    footage: Collection[Footage]
    searchable: Collection[str]
    consented: Collection[str]


def problems(contents: Contents, media: MediaFolder) -> Iterator[str]:
    """A sentence for everything that is wrong with rows and files."""
    owners = _owners(contents)
    lying = set(media.hashes())
    for sha256, owner in sorted(owners.items()):
        if sha256 not in lying:
            yield f"A file of {owner} is missing ({media.path(sha256)})."
        elif hash_of(media.path(sha256))[0] != sha256:
            yield f"A file of {owner} is damaged ({media.path(sha256)})."
    for name in sorted(lying - set(owners)):
        yield f"The file {media.path(name)} belongs to nothing in the library."
    for entry in contents.entries:
        yield from _model_problems(entry, contents.consented, media)
    for piece in contents.footage:
        if piece.player not in contents.consented:
            yield f"Footage of {piece.player} is kept without a consent."


def _model_problems(entry: Entry, consented: Collection[str], media: MediaFolder) -> Iterator[str]:
    name = f'model "{entry.label}" ({entry.id})'
    if not entry.generated:
        for code in entry.contains:
            if code not in consented:
                yield f"The {name} holds swings of {code} without a consent."
    swings = [file for file in entry.media if file.kind == "swings"]
    if len(swings) != 1:
        yield f"The {name} has {len(swings)} files of swings instead of one."
        return
    try:
        found = arrays.from_bytes(media.read(swings[0].sha256), name)
    except LibraryError:
        if (
            media.path(swings[0].sha256).exists()
            and hash_of(media.path(swings[0].sha256))[0] == swings[0].sha256
        ):
            yield f"The swings of the {name} cannot be read."
        return
    if len(found["swings"]) != entry.repeats:
        yield f"The {name} should have {entry.repeats} swings and has {len(found['swings'])}."


def _owners(contents: Contents) -> Mapping[str, str]:
    owners = {f.sha256: f"footage of {piece.player}" for piece in contents.footage for f in piece.media}
    return owners | {f.sha256: f'model "{e.label}" ({e.id})' for e in contents.entries for f in e.media}
