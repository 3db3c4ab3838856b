"""A set of model swings as one open file, with its consent terms inside: written, checked, and read back without loss.

The file is a ZIP archive that is described in ``references/README.md``: ``set.json`` says what is in it, with the
SHA-256 of every other part; the arrays of a model are ``models/<id>/swings.npz``. Nothing goes into a set that its
people did not agree to pass on. What a stranger's archive claims is not believed: sizes, names and hashes are checked
before anything is taken in.
"""

from __future__ import annotations

import hashlib
import json
import math
import os
import re
import tempfile
import zipfile
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, fields, replace
from datetime import date, datetime, timezone
from pathlib import Path
from typing import Any

from swingmatch.errors import LibraryError
from swingmatch.library.consent import face_may_show, in_force, may
from swingmatch.library.records import KINDS, Consent, Entry, Kind, Media, Model, NewMedia
from swingmatch.library.store import Store
from swingmatch.library.store.arrays import from_bytes

FORMAT, VERSION = "swingmatch set of model swings", 1
TEXT = "set.json"
#: What a set may hold at most: bytes of its text, of one part, of all parts, and the number of parts.
MOST_TEXT, MOST_PART, MOST_ALL, MOST_PARTS = 200_000_000, 2_000_000_000, 50_000_000_000, 200_000
#: Deflate makes nothing more than about a thousand times smaller, and arrays and films not a hundred times.
_MOST_SQUEEZED = 200
_PLACE = re.compile(r"models/[0-9a-f]{32}/[^/\\\x00-\x1f:]{1,200}")
#: Parts in which a face may be seen.
_SHOWS_FACE = frozenset({"clip", "frames", "other"})
#: What a part is called where it stays, and why it does.
_STAYS: Mapping[Kind, str] = {
    "clip": "The film {name} of {label} stays here: to show the face was not agreed.",
    "frames": "The picture {name} of {label} stays here: to show the face was not agreed.",
    "other": "The file {name} of {label} stays here: a name or a face may be in it, and that was not agreed.",
}
#: A guardian as a code of the coach's: a few letters, then a number.
_CODE = re.compile(r"[A-Za-z]{0,4}[-_ ]?[0-9]{1,6}")
_STARTED = (1980, 1, 1, 0, 0, 0)  # the same set gives the same bytes


@dataclass(frozen=True)
class Exported:
    """What went into a set: labels of the models, and sentences on what was left out and why."""

    models: tuple[str, ...]
    left_out: tuple[str, ...]


@dataclass(frozen=True)
class Taken:
    """What a set brought: entries that are new, labels that were there already, and what could not be taken."""

    added: tuple[Entry, ...]
    known: tuple[str, ...]
    refused: tuple[str, ...]


def export_set(
    store: Store, path: Path | str, ids: Collection[str] | None = None, on: date | None = None
) -> Exported:
    """Write models, all or those of ``ids``, into one file; it is there whole or not at all.

    Raises
    ------
    LibraryError
        Nothing may be passed on, a model is damaged, or the disk refuses.
    """
    path, on = Path(path), on or date.today()
    consents = in_force(store.consents())
    entries = [entry for entry in store.models(on) if ids is None or entry.id in ids]
    chosen, left_out = [], []
    for entry in entries:
        unwilling = [c for c in _people(entry) if not may(consents.get(c), "shared_set", on)]
        if unwilling:
            left_out.append(
                f"{entry.label} stays here: {' and '.join(unwilling)} did not agree to a shared set."
            )
        else:
            chosen.append(entry)
    if not chosen:
        raise LibraryError(" ".join(["There is nothing to pass on.", *left_out]))
    parts: dict[str, Media] = {}
    listed = []
    for entry in chosen:
        faces = all(face_may_show(consents.get(code), on) for code in _people(entry))
        kept = [m for m in entry.media if faces or m.kind not in _SHOWS_FACE]
        left_out += [
            _STAYS[m.kind].format(name=m.name, label=entry.label) for m in entry.media if m not in kept
        ]
        for media in kept:
            store.load(entry)  # a damaged model is told here, not by its reader
            parts[f"models/{entry.id}/{media.name}"] = media
        listed.append(entry_to_json(entry, kept))
    codes = {code for entry in chosen for code in _people(entry)}
    text = {
        "format": FORMAT,
        "version": VERSION,
        "made_at": datetime.now(timezone.utc).replace(microsecond=0).isoformat(),
        "consents": [consent_to_json(_without_names(consents[code])) for code in sorted(codes)],
        "models": listed,
    }
    _write(path, json.dumps(text, indent=2, ensure_ascii=False, allow_nan=False), parts, store)
    return Exported(tuple(entry.label for entry in chosen), tuple(left_out))


def import_set(store: Store, path: Path | str, on: date | None = None) -> Taken:
    """Take the models of a set into the library; those that are there already are left as they are.

    Raises
    ------
    LibraryError
        The file is no set, of another version, damaged, or holds what no set holds; then nothing is taken in.
    """
    path = Path(path)
    try:
        with zipfile.ZipFile(path) as archive:
            consents, entries = _checked(archive, path)
            there = {entry.id for entry in store.models(on)}
            added, known, refused = [], [], []
            for entry in entries:
                if entry.id in there:
                    known.append(entry.label)
                    continue
                try:
                    added.append(_take(store, archive, entry, consents, on))
                except LibraryError as error:
                    refused.append(f"{entry.label} was not taken in: {error}")
    except FileNotFoundError:
        raise LibraryError(f"There is no set at {path}.") from None
    except (zipfile.BadZipFile, zipfile.LargeZipFile, EOFError, NotImplementedError, RuntimeError) as error:
        raise LibraryError(f"{path} is no set of model swings, or it is damaged.") from error
    except OSError as error:
        raise LibraryError(f"The set {path} cannot be read ({error.strerror}).") from error
    return Taken(tuple(added), tuple(known), tuple(refused))


# Records as JSON ----------------------------------------------------------------------------------------


def consent_to_json(consent: Consent) -> dict[str, Any]:
    """A consent as it stands in a set; the name stays with the coach who wrote it."""
    out = {f.name: getattr(consent, f.name) for f in fields(Consent) if f.name != "name"}
    return {name: value.isoformat() if isinstance(value, date) else value for name, value in out.items()}


def _without_names(consent: Consent) -> Consent:
    """The consent as it may leave: what is written of the guardian, where it is no code, becomes one."""
    who = consent.guardian
    coded = who if who is None or _CODE.fullmatch(who.strip()) else f"guardian of {consent.code}"
    return replace(consent, name=None, guardian=coded)


def consent_from_json(given: Mapping[str, Any]) -> Consent:
    """The consent of a set. Raises ``ValueError``, ``TypeError`` or ``KeyError`` where it cannot be one."""
    own = {f.name: given[f.name] for f in fields(Consent) if f.name in given}
    for name in ("agreed_on", "until", "withdrawn_on"):
        own[name] = None if own.get(name) is None else date.fromisoformat(own[name])
    for name in ("own_use", "show_students", "show_face", "shared_set", "minor"):
        if own.get(name) not in (True, False):
            raise ValueError(name)
    return Consent(**own)


def entry_to_json(entry: Entry, media: Sequence[Media]) -> dict[str, Any]:
    """All that is known of a model but its arrays; a number that is not known is null."""
    out: dict[str, Any] = {}
    for f in fields(Entry):
        value = getattr(entry, f.name)
        if isinstance(value, frozenset):
            value = sorted(value)
        elif isinstance(value, Mapping):
            value = {name: _finite(one) for name, one in value.items()}
        elif isinstance(value, datetime):
            value = value.isoformat()
        out[f.name] = _finite(value)
    out["media"] = [{"name": m.name, "kind": m.kind, "sha256": m.sha256, "size": m.size} for m in media]
    return out


def entry_from_json(given: Mapping[str, Any]) -> Entry:
    """The entry of a set. Raises ``ValueError``, ``TypeError`` or ``KeyError`` where it cannot be one."""
    own = {f.name: given[f.name] for f in fields(Entry)}
    if not re.fullmatch(r"[0-9a-f]{32}", own["id"]) or own["hand"] not in ("right", "left"):
        raise ValueError("id or hand")
    if own["generated"] not in (True, False) or not all(
        isinstance(own[n], str) for n in ("label", "volunteer")
    ):
        raise ValueError("generated")
    for name in ("tempo", "stature"):
        own[name] = _number(own[name])
    for name in ("build", "proportions", "traits"):
        own[name] = {key: _number(value) for key, value in own[name].items()}
    own["style"] = {key: float("nan") if value is None else value for key, value in own["style"].items()}
    own["tags"] = frozenset(own["tags"])
    for name in ("style_words", "notes", "contains"):
        own[name] = tuple(str(word) for word in own[name])
    own["added_at"] = datetime.fromisoformat(own["added_at"])
    own["media"] = tuple(Media(**one) for one in own["media"])
    return Entry(**own)


def _finite(value: Any) -> Any:
    return None if isinstance(value, float) and not math.isfinite(value) else value


def _number(value: Any) -> float:
    return float("nan") if value is None else float(value)


# The archive --------------------------------------------------------------------------------------------


def _people(entry: Entry) -> tuple[str, ...]:
    """Codes of the people in a model: nobody where it is generated."""
    return () if entry.generated else (entry.contains or (entry.volunteer,))


def _write(path: Path, text: str, parts: Mapping[str, Media], store: Store) -> None:
    aside = None
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        handle, name = tempfile.mkstemp(prefix=".writing-", dir=path.parent)
        aside = Path(name)
        with os.fdopen(handle, "wb") as file:
            with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as archive:
                archive.writestr(zipfile.ZipInfo(TEXT, _STARTED), text, zipfile.ZIP_DEFLATED)
                for place, media in sorted(parts.items()):
                    info = zipfile.ZipInfo(place, _STARTED)
                    info.compress_type = zipfile.ZIP_DEFLATED
                    with (
                        archive.open(info, "w", force_zip64=True) as out,
                        store.path_of(media).open("rb") as source,
                    ):
                        while piece := source.read(1 << 20):
                            out.write(piece)
            file.flush()
            os.fsync(file.fileno())
        aside.replace(path)
    except OSError as error:
        raise LibraryError(f"The set cannot be written to {path} ({error.strerror}).") from error
    finally:
        if aside is not None:
            aside.unlink(missing_ok=True)


def _checked(archive: zipfile.ZipFile, path: Path) -> tuple[dict[str, Consent], list[Entry]]:
    """What a set says, once its form, names, sizes and hashes are right."""
    infos = {info.filename: info for info in archive.infolist()}
    head = infos.get(TEXT)
    if head is None or len(infos) != len(archive.infolist()):
        raise LibraryError(f"{path} is no set of model swings: it holds no {TEXT}, or a part twice.")
    bomb = (
        len(infos) > MOST_PARTS
        or head.file_size > MOST_TEXT
        or sum(info.file_size for info in infos.values()) > MOST_ALL
        or any(
            info.file_size > MOST_PART or info.file_size > 100_000 + _MOST_SQUEEZED * info.compress_size
            for info in infos.values()
        )
    )
    if bomb:
        raise LibraryError(
            f"{path} would unpack to far more than a set of model swings holds; it was not opened."
        )
    try:
        text = json.loads(_part(archive, head).decode("utf-8"))
        if not isinstance(text, dict) or text.get("format") != FORMAT:
            raise LibraryError(f'{path} is no set of model swings (its "format" should be "{FORMAT}").')
        if text.get("version") != VERSION:
            version = text.get("version")
            raise LibraryError(
                f"{path} is in version {version} of the format, but this swingmatch reads version {VERSION}; a newer "
                "one may read it."
            )
        consents = {c.code: c for c in map(consent_from_json, text["consents"])}
        entries = [entry_from_json(one) for one in text["models"]]
    except (ValueError, TypeError, KeyError, AttributeError, RecursionError) as error:
        raise LibraryError(f"{path} is damaged: its {TEXT} does not say what a set has to say.") from error
    claimed = {f"models/{entry.id}/{media.name}": media for entry in entries for media in entry.media}
    strange = [name for name in {*infos, *claimed} - {TEXT} if not _PLACE.fullmatch(name) or "/.." in name]
    if strange or set(infos) - {TEXT} != set(claimed):
        raise LibraryError(f"{path} holds parts it does not list, lacks one, or names it strangely.")
    for name, media in claimed.items():
        if (
            media.kind not in KINDS
            or infos[name].file_size != media.size
            or _hash(archive, infos[name]) != media.sha256
        ):
            raise LibraryError(f"{path} is damaged: {name} is not what was put in.")
    return consents, entries


def _part(archive: zipfile.ZipFile, info: zipfile.ZipInfo) -> bytes:
    """A part, never more of it than it says it has."""
    with archive.open(info) as file:
        data = file.read(info.file_size + 1)
    if len(data) != info.file_size:
        raise zipfile.BadZipFile(info.filename)
    return data


def _hash(archive: zipfile.ZipFile, info: zipfile.ZipInfo) -> str:
    digest, left = hashlib.sha256(), info.file_size
    with archive.open(info) as file:
        while piece := file.read(min(1 << 20, left + 1)):
            digest.update(piece)
            left -= len(piece)
            if left < 0:
                raise zipfile.BadZipFile(info.filename)
    return digest.hexdigest()


def _take(
    store: Store, archive: zipfile.ZipFile, entry: Entry, consents: Mapping[str, Consent], on: date | None
) -> Entry:
    """Take one model in with its consents and files."""
    with tempfile.TemporaryDirectory(prefix="swingmatch-set-") as folder:
        media, swings = [], None
        for number, one in enumerate(entry.media):
            data = _part(archive, archive.getinfo(f"models/{entry.id}/{one.name}"))
            if one.kind == "swings":
                swings = data
                continue
            file = Path(folder) / str(number)
            file.write_bytes(data)
            media.append(NewMedia(kind=one.kind, name=one.name, source=file))
        if swings is None:
            raise LibraryError("it has no swings.")
        own = {f.name: getattr(entry, f.name) for f in fields(Entry) if f.name not in ("media", "repeats")}
        model = Model(**own, **from_bytes(swings, f'"{entry.label}"'))
        for code in _people(entry):
            if code not in consents:
                raise LibraryError(f"the set holds no consent of {code}.")
            if code != entry.volunteer and store.consent(code) is None:
                store.record_consent(consents[code])
        own_consent = None if entry.generated or store.consent(entry.volunteer) else consents[entry.volunteer]
        return store.add(model, own_consent, media, on=on)
