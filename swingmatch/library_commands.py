"""``swingmatch library ...``: the private library of model swings from the command line.

Each command prints something to read; with ``--json`` it prints one JSON value instead, and nothing else.
"""

from __future__ import annotations

import argparse
import json
import math
import sys
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

from swingmatch.errors import LibraryError, SwingmatchError
from swingmatch.progress import Bar

if TYPE_CHECKING:
    from swingmatch.library.adding import Facts
    from swingmatch.library.choose import Choice
    from swingmatch.library.folder import Library
    from swingmatch.library.own import OwnModels
    from swingmatch.library.quality import Verdict
    from swingmatch.library.records import Consent, Entry, Kind
    from swingmatch.library.store import Store
    from swingmatch.pipeline import Options
    from swingmatch.stroke.swing import Swing

_CAUTION = (
    "Record people only with their informed consent, a minor only with that of a guardian as well; local law and the "
    "club's rules decide what has to be asked."
)
_HOW_TO_ADD = (
    '"swingmatch library add" takes models in; "library consent add --show-students" says who may be shown.'
)
#: What a model's small picture is called among its files.
_PICTURE = "contact.png"
#: Letters of an id that are shown, and enough to name a model by.
_SHORT = 8


def where_it_is() -> argparse.ArgumentParser:
    """What every command on the library's records takes, as a parent parser."""
    where = argparse.ArgumentParser(add_help=False)
    where.add_argument(
        "--home", type=Path, metavar="DIR", help="folder of the library (default: SWINGMATCH_HOME)"
    )
    where.add_argument("--url", help="PostgreSQL database of the library (default: a file in its folder)")
    where.add_argument("--json", action="store_true", help="print JSON for a program")
    return where


def register(
    commands: argparse._SubParsersAction, about_clips: Callable[[argparse.ArgumentParser], None]
) -> None:
    """Add the command to the parser; ``about_clips`` adds what the coach may say about clips."""
    library = commands.add_parser(
        "library", help="keep model swings of your own, with the consent they need", epilog=_CAUTION
    )
    where = where_it_is()
    inner = library.add_subparsers(dest="action", required=True)

    def action(name: str, text: str) -> argparse.ArgumentParser:
        return inner.add_parser(name, help=text, parents=[where])

    add = action("add", "take the swings of clips, or of motion capture (BVH, C3D, CSV), into the library")
    about_clips(add)
    add.add_argument("--volunteer", metavar="CODE", required=True, help="code of the person")
    add.add_argument("--label", metavar="NAME", help="what is shown for the volunteer (default: the code)")
    add.add_argument("--generated", action="store_true", help="no person was recorded")
    add.add_argument("--stroke", help="which stroke it is (default: told from the swing)")
    add.add_argument("--height", type=float, metavar="METRES", help="the volunteer's height")
    add.add_argument("--level", default="", help="in your words")
    add.add_argument("--grip", help="in your words, such as eastern")
    add.add_argument("--tag", action="append", default=[], metavar="WORDS", help="a tag; may be given often")
    add.add_argument(
        "--despite", default="", metavar="REASON", help="take in swings that are not good enough, and why"
    )

    listing = action("list", "list the models")
    listing.add_argument("--stroke", help="only of this stroke")
    listing.add_argument("--volunteer", metavar="CODE", help="only of this person")
    listing.add_argument("--tag", action="append", default=[], metavar="WORDS", help="only with this tag")

    show = action("show", "show all that is known of a model")
    show.add_argument("model", metavar="ID", help="id of the model, or its first letters")
    show.add_argument(
        "--picture", type=Path, metavar="FILE", help="write its small picture, a drawn body, to a PNG file"
    )

    choose = action("choose", "say which models are most alike to a player, and why")
    about_clips(choose)
    choose.add_argument("--wish", default="", metavar="WORDS", help='such as "like build, ignore tempo"')
    choose.add_argument("--stroke", help="which stroke it is (default: told from the swing)")
    choose.add_argument("--height", type=float, metavar="METRES", help="the player's height")

    tag = action("tag", "give a model tags of your own, or take them away")
    tag.add_argument("model", metavar="ID", help="id of the model, or its first letters")
    tag.add_argument("--add", action="append", default=[], metavar="WORDS", help="a tag to give")
    tag.add_argument("--remove", action="append", default=[], metavar="WORDS", help="a tag to take away")

    export = action("export", "write models into one file for somebody else, as far as the consent goes")
    export.add_argument("file", type=Path, metavar="FILE", help="the file to write")
    export.add_argument("models", nargs="*", metavar="ID", help="which models (default: all)")

    bring = action("import", "take in the models of such a file")
    bring.add_argument("file", type=Path, metavar="FILE", help="the file to read")

    action("check", "look for anything damaged or missing, and for consents that end")

    forget = action("forget", "remove a model, or all of a person")
    forget.add_argument("what", metavar="ID_OR_CODE", help="id of a model, or code of a person")

    consent = action("consent", "put consents on record, list them, or note that one was withdrawn")
    consent.add_argument("what", choices=("add", "list", "withdraw"), help="what to do")
    consent.add_argument("code", nargs="?", help="code of the person")
    consent.add_argument(
        "--agreed-on", type=_day, metavar="DATE", help="day of the agreement (default: today)"
    )
    consent.add_argument("--until", type=_day, metavar="DATE", help="last day on which it holds")
    consent.add_argument("--show-students", action="store_true", help="may be shown to students")
    consent.add_argument(
        "--show-face", action="store_true", help="the face may be seen in what leaves the machine"
    )
    consent.add_argument("--shared-set", action="store_true", help="may be passed on in a set")
    consent.add_argument("--minor", action="store_true", help="a minor, for whom a guardian agrees as well")
    consent.add_argument("--guardian", metavar="WHO", help="the guardian who agreed, as a code")
    consent.add_argument(
        "--paper", type=Path, metavar="FILE", help="scan of the signed paper; only its hash is kept"
    )


def run(
    words: argparse.Namespace,
    options_of: Callable[[argparse.Namespace], Options],
    files_of: Callable[[Sequence[Path]], list[Path]],
) -> int:
    """Run a command of the library. Returns 0, or 1 where some file could not be used or something is damaged."""
    from swingmatch.library.store import open_store

    with open_store(words.home, words.url) as store:
        if words.action in ("add", "choose"):
            options = options_of(words)
            files = files_of(words.clips)
            return (_add if words.action == "add" else _choose)(store, words, options, files)
        return {
            "list": _list,
            "show": _show,
            "tag": _tag,
            "export": _export,
            "import": _import,
            "check": _check,
            "forget": _forget,
            "consent": _consent,
        }[words.action](store, words)


@contextmanager
def models_of(where: str | None) -> Iterator[Library | OwnModels]:
    """The model swings that a student's review may choose from, while the ``with`` lasts.

    ``where`` : "shipped", "mine", or a folder of model swings; None for the shipped and one's own. Own models are those
    whose people agreed to be shown to students. What cannot be used of a folder costs a sentence each.

    Raises
    ------
    LibraryError : the folder holds none, or the private library has none that may be shown.
    """
    from swingmatch.library.folder import Library, load_library
    from swingmatch.library.home import exists
    from swingmatch.library.own import OwnModels
    from swingmatch.library.store import open_store

    shipped = (
        Library(()) if where == "mine" else load_library(where if where not in (None, "shipped") else None)
    )
    for problem in shipped.problems:
        print(f"swingmatch: {problem}", file=sys.stderr)
    # A coach without a library of their own gets no folder for one.
    if where not in (None, "mine") or not exists():
        if where == "mine":
            raise LibraryError(f"There is no private library yet. {_HOW_TO_ADD}")
        yield shipped
        return
    with open_store() as store:
        own = OwnModels(store, "show_students", shipped)
        if where == "mine" and not own.names():
            raise LibraryError(
                f"Your private library holds no model that may be shown to students. {_HOW_TO_ADD}"
            )
        yield own


def model_lines(library: Library | OwnModels) -> list[str]:
    """A line about each model."""
    from swingmatch.library.folder import Library

    rows = []
    if not isinstance(library, Library):
        labels = library.labels()
        rows += [
            (
                labels[entry.id],
                f"{entry.hand}-handed {entry.stroke}",
                "generated" if entry.generated else "recorded with consent",
                f"{_swings(entry.repeats)}: "
                + ", ".join([*filter(None, [entry.stance, entry.take_back]), *sorted(entry.tags)]),
            )
            for entry in library.store.models(purpose=library.purpose)
        ]
        library = library.shipped
    rows += [
        (
            volunteer.label,
            f"{volunteer.hand}-handed {volunteer.stroke}",
            "generated" if volunteer.generated else "recorded with consent",
            f"{_swings(len(volunteer.swings))}: {', '.join(volunteer.style_words)}",
        )
        for volunteer in library
    ]
    return aligned(sorted(rows, key=lambda row: row[0].casefold()))


def _add(store: Store, words: argparse.Namespace, options: Options, files: Sequence[Path]) -> int:
    """File after file, each kept as soon as it is read; one that cannot be used costs a sentence."""
    from swingmatch.library.adding import Facts
    from swingmatch.library.consent import may
    from swingmatch.library.store.disk import hash_of

    facts = Facts(
        volunteer=words.volunteer,
        label=words.label or "",
        generated=words.generated,
        stature=math.nan if words.height is None else words.height,
        level=words.level,
        grip=words.grip,
        tags=frozenset(words.tag),
        despite=words.despite,
    )
    # Said before minutes of work, not after.
    if not facts.generated and not may(store.consent(facts.volunteer), "own_use", date.today()):
        raise LibraryError(
            f'There is no consent of {facts.volunteer} on record; "swingmatch library consent add '
            f'{facts.volunteer}" puts one on record, and --generated says that no person was recorded.'
        )
    out: list[dict[str, Any]] = []
    failed = 0
    for file in files:
        try:
            known = store.holding(hash_of(file)[0]) if file.is_file() else ()
            if known:
                out.append({"file": file.name, "known": list(known)})
                _say(words, f"{file.name}: in the library already ({_names(known)}).")
                continue
            for entry, doubts in _add_file(store, file, facts, options):
                out.append({"file": file.name, "model": _entry(entry), "doubts": list(doubts)})
                _say(
                    words,
                    f"{file.name}: {entry.label}, {entry.stroke}, {_swings(entry.repeats)} in all "
                    f"({entry.id[:_SHORT]}).",
                )
                for doubt in doubts:
                    _say(words, f"  {doubt}")
        except (SwingmatchError, OSError) as error:
            failed += 1
            out.append({"file": file.name, "error": str(error)})
            print(f"swingmatch: {file.name}: {error}", file=sys.stderr)
    if words.json:
        print_json(out)
    return 1 if failed else 0


def _add_file(
    store: Store, file: Path, facts: Facts, options: Options
) -> list[tuple[Entry, tuple[str, ...]]]:
    """The models that a file's swings went into, one a stroke, with what is doubtful about them."""
    from swingmatch.library.adding import to_model
    from swingmatch.library.lab import is_lab_file
    from swingmatch.library.records import NewMedia
    from swingmatch.library.store.reading import Filter
    from swingmatch.report.thumbnail import contact_picture

    swings, sds, notes, stature, footage = _swings_of(file, options)
    facts = replace(facts, stature=stature) if math.isnan(facts.stature) else facts
    added = []
    for stroke in dict.fromkeys(swing.stroke for swing in swings):
        of_it = [i for i, swing in enumerate(swings) if swing.stroke == stroke]
        hand = swings[of_it[0]].hand
        same = store.models(wanted=Filter(volunteer=facts.volunteer, stroke=stroke, hand=hand))
        before = store.load(same[0]) if same else None
        model, verdict = to_model(
            [swings[i] for i in of_it], [sds[i] for i in of_it], facts, before, notes, footage
        )
        media = [] if before is None else [m for m in before.media if m.kind not in ("swings", "thumbnail")]
        taken = {_PICTURE, *(m.name for m in media)}
        name = next(n for n in _free_names(file.name) if n not in taken)
        # Nobody's face is in a laboratory's recording.
        kind: Kind = "other" if is_lab_file(file) else "clip"
        entry = store.add(
            model,
            media=[
                *(NewMedia(kind=m.kind, name=m.name, source=store.path_of(m)) for m in media),
                NewMedia(kind=kind, name=name, source=file),
                NewMedia(
                    kind="thumbnail", name=_PICTURE, source=contact_picture(model.mean or model.swings[0])
                ),
            ],
            replaces=None if before is None else before.id,
        )
        added.append((entry, verdict.doubts))
    return added


def _swings_of(
    file: Path, options: Options
) -> tuple[list[Swing], list[float], tuple[str, ...], float, Verdict]:
    """Swings of a clip or a laboratory's recording, the standard deviation of each contact in seconds, notes, the
    stature in metres where it is known, and what the footage says against them."""
    from swingmatch.library.lab import is_lab_file, read_recording, to_swings
    from swingmatch.library.quality import of_footage

    if is_lab_file(file):
        found = to_swings(
            read_recording(file),
            hand=options.hand,
            stroke=options.stroke,
            stature=options.stature,
            where=file.name,
        )
        return list(found.swings), [0.0] * len(found.swings), found.notes, found.stature, of_footage(())
    from swingmatch.pipeline import read_swings

    read = read_swings(file, options, progress=Bar())
    stature = math.nan if options.stature is None else options.stature
    return (
        list(read.strokes.swings),
        [contact.sd for contact in read.strokes.contacts],
        (*read.strokes.notes, *read.footage.notes),
        stature,
        of_footage((remark.kind, remark.severity, remark.sentence) for remark in read.footage.remarks),
    )


def _free_names(name: str) -> Iterable[str]:
    yield name
    stem, dot, ending = name.rpartition(".")
    number = 1
    while True:
        number += 1
        yield f"{stem} {number}.{ending}" if dot else f"{name} {number}"


def _list(store: Store, words: argparse.Namespace) -> int:
    from swingmatch.library.store.reading import Filter

    found = store.models(wanted=Filter(stroke=words.stroke, volunteer=words.volunteer, tags=tuple(words.tag)))
    if words.json:
        print_json([_entry(entry) for entry in found])
        return 0
    if not found:
        print('The library holds no such model. "swingmatch library add" takes one in.')
    for line in aligned(
        [
            (
                entry.id[:_SHORT],
                entry.label,
                f"{entry.hand}-handed {entry.stroke}",
                _swings(entry.repeats),
                "generated" if entry.generated else entry.volunteer,
                ", ".join(filter(None, [entry.stance, entry.grip, entry.level, *sorted(entry.tags)])),
            )
            for entry in found
        ]
    ):
        print(line)
    _warn(store)
    return 0


def _show(store: Store, words: argparse.Namespace) -> int:
    from swingmatch.library import consent as rules

    entry = _find(store, words.model)
    model = store.load(entry)
    agreed = store.consent(entry.volunteer)
    picture = next((m for m in entry.media if m.kind == "thumbnail"), None)
    if words.picture is not None:
        if picture is None:
            raise LibraryError(f"There is no small picture of {entry.label}; adding a swing makes one.")
        _write_picture(words.picture, store.path_of(picture).read_bytes())
    if words.json:
        spread = model.spread
        told = (
            {}
            if spread is None
            else {
                joint: {phase: _number(spread.of(joint, phase)) for phase in spread.phases}
                for joint in spread.joints
            }
        )
        print_json(_entry(entry) | {"apart": list(model.apart), "spread_degrees": told})
        return 0
    facts = [
        ("Model", f"{entry.label} ({entry.id})"),
        ("Of", "nobody: generated" if entry.generated else entry.volunteer),
        ("Stroke", f"{entry.hand}-handed {entry.stroke}, {_swings(entry.repeats)}"),
        ("Stance", entry.stance or "not known"),
        ("Take-back", entry.take_back or "not known"),
        ("Grip", entry.grip or "not known"),
        (
            "Tempo",
            f"{entry.tempo:.2f} s from the first turn to contact"
            if math.isfinite(entry.tempo)
            else "not known",
        ),
        ("Height", f"{entry.stature:.2f} m" if math.isfinite(entry.stature) else "not given"),
        ("Level", entry.level or "not given"),
        ("Tags", ", ".join(sorted(entry.tags)) or "none"),
        ("Files", ", ".join(m.name for m in entry.media if m.kind not in ("swings", "thumbnail")) or "none"),
        (
            "Picture",
            "none"
            if picture is None
            else f"of the body at contact, drawn; in {words.picture}"
            if words.picture
            else "of the body at contact, drawn; --picture FILE writes it",
        ),
        ("Licence", entry.licence),
        (
            "Consent",
            "none is needed" if entry.generated else "none" if agreed is None else rules.words(agreed),
        ),
    ]
    for line in aligned(facts):
        print(line)
    if model.spread is not None and entry.repeats > 1:
        print("How much it varies, degrees (median over the joints), and by how long:")
        import numpy as np

        for place, phase in enumerate(model.spread.phases):
            column = model.spread.degrees[:, place]
            shown = f"{np.nanmedian(column):.1f}" if np.isfinite(column).any() else "not known"
            lasting = model.spread.milliseconds.get(phase, math.nan)
            print(f"  {phase}: {shown}" + (f", ±{lasting:.0f} ms" if math.isfinite(lasting) else ""))
    for note in entry.notes:
        print(note)
    return 0


def _write_picture(path: Path, data: bytes) -> None:
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(data)
    except OSError as error:
        raise LibraryError(f"The picture cannot be written to {path} ({error.strerror}).") from error


def _choose(store: Store, words: argparse.Namespace, options: Options, files: Sequence[Path]) -> int:
    from swingmatch.library.choose import choose, read_wishes
    from swingmatch.library.folder import load_library
    from swingmatch.library.own import OwnModels

    wishes = read_wishes(words.wish) if words.wish else None
    models = OwnModels(store, "own_use", load_library())
    out = []
    failed = 0
    for file in files:
        try:
            swings = most_played(_swings_of(file, options)[0])
            choice = choose(swings, models.of(swings, wishes=wishes), wishes=wishes)
        except SwingmatchError as error:
            failed += 1
            print(f"swingmatch: {file.name}: {error}", file=sys.stderr)
            continue
        out.append({"file": file.name, **_choice(choice)})
        if not words.json:
            _print_choice(file, choice)
    if words.json:
        print_json(out)
    return 1 if failed else 0


def most_played(swings: Sequence[Swing]) -> list[Swing]:
    """The swings of the stroke that was played most: no model fits two."""
    strokes = [swing.stroke for swing in swings]
    return [swing for swing in swings if swing.stroke == max(strokes, key=strokes.count)]


def _print_choice(file: Path, choice: Choice) -> None:
    print(f"\n{file.name}: {choice.line}")
    for reason in choice.reasons[1:]:
        print(f"  {reason}")
    print(
        "How unlike each is: 0 alike, 1 clearly different; build, style, and what this camera side can compare."
    )
    rows: list[tuple[str, ...]] = [("model", "in all", "build", "style", "this side")]
    rows += [
        (
            score.label,
            _two(score.total),
            *(_two(score.parts.get(part, math.nan)) for part in ("build", "style", "view")),
        )
        for score in choice.table[:8]
    ]
    for line in aligned(rows):
        print(f"  {line}")


def _choice(choice: Choice) -> dict[str, Any]:
    return {
        "model": choice.volunteer.label,
        "reasons": list(choice.reasons),
        "scores": [
            {
                "label": score.label,
                "total": _number(score.total),
                "parts": {name: _number(value) for name, value in score.parts.items()},
                "sure": {name: _number(value) for name, value in score.sure.items()},
                "chance": _number(score.chance),
            }
            for score in choice.table
        ],
    }


def _tag(store: Store, words: argparse.Namespace) -> int:
    entry = _find(store, words.model)
    tags = sorted(store.tag(entry.id, words.add, words.remove))
    if words.json:
        print_json({"id": entry.id, "tags": tags})
    else:
        print(f"{entry.label} has {'the tags ' + ', '.join(tags) if tags else 'no tags'}.")
    return 0


def _export(store: Store, words: argparse.Namespace) -> int:
    from swingmatch.library.exchange import export_set

    ids = [_find(store, model).id for model in words.models] or None
    done = export_set(store, words.file, ids)
    if words.json:
        print_json({"models": list(done.models), "left_out": list(done.left_out)})
        return 0
    print(f"{words.file} holds {', '.join(done.models)}, with the consent terms inside.")
    for sentence in done.left_out:
        print(sentence)
    return 0


def _import(store: Store, words: argparse.Namespace) -> int:
    from swingmatch.library.exchange import import_set

    taken = import_set(store, words.file)
    if words.json:
        print_json(
            {
                "added": [_entry(entry) for entry in taken.added],
                "known": list(taken.known),
                "refused": list(taken.refused),
            }
        )
        return 0
    print(f"Taken in: {', '.join(entry.label for entry in taken.added) or 'nothing'}.")
    if taken.known:
        print(f"There already: {', '.join(taken.known)}.")
    for sentence in taken.refused:
        print(sentence)
    return 0


def _check(store: Store, words: argparse.Namespace) -> int:
    problems, warned = store.check(), store.warnings()
    if words.json:
        print_json({"problems": problems, "warnings": warned})
    else:
        print("\n".join(problems) or "Every file is there and whole, and nothing lies about.")
        _warn(store)
    return 1 if problems else 0


def _forget(store: Store, words: argparse.Namespace) -> int:
    people = {consent.code for consent in store.consents()} | {entry.volunteer for entry in store.models()}
    gone = store.forget(words.what) if words.what in people else store.remove([_find(store, words.what).id])
    if words.json:
        print_json({"models": list(gone.models), "footage": list(gone.footage), "consents": gone.consents})
    else:
        print(_gone(gone.models, gone.footage, gone.consents))
    return 0


def _consent(store: Store, words: argparse.Namespace) -> int:
    from swingmatch.library import consent as rules
    from swingmatch.library.exchange import consent_to_json
    from swingmatch.library.records import Consent

    if words.what == "list":
        found = rules.in_force(store.consents())
        if words.json:
            print_json([consent_to_json(one) for one in found.values()])
            return 0
        for line in aligned([(code, rules.words(one)) for code, one in sorted(found.items())]):
            print(line)
        if not found:
            print("No consent is on record.")
        _warn(store)
        return 0
    if not words.code:
        raise LibraryError(f"Please say whose consent it is: swingmatch library consent {words.what} CODE.")
    if words.what == "withdraw":
        gone = store.withdraw(words.code)
        if words.json:
            print_json(
                {"models": list(gone.models), "footage": list(gone.footage), "consents": gone.consents}
            )
            return 0
        print(_gone(gone.models, gone.footage, gone.consents))
        print("Copies that were passed on, and backups, are not reached from here.")
        return 0
    consent: Consent = Consent(
        code=words.code,
        agreed_on=words.agreed_on or date.today(),
        show_students=words.show_students,
        show_face=words.show_face,
        shared_set=words.shared_set,
        until=words.until,
        minor=words.minor,
        guardian=words.guardian,
        paper_sha256=None if words.paper is None else rules.hash_of_paper(words.paper),
    )
    store.record_consent(consent)
    if words.json:
        print_json(consent_to_json(consent))
    else:
        print(f"{consent.code}: {rules.words(consent)}\n{_CAUTION}")
    return 0


def _find(store: Store, name: str) -> Entry:
    """The model whose id starts so, or that has that label."""
    found = store.models()
    hits = [e for e in found if len(name) >= 4 and e.id.startswith(name.casefold())]
    hits = hits or [e for e in found if e.label.casefold() == name.casefold()]
    if len(hits) == 1:
        return hits[0]
    if hits:
        raise LibraryError(f'"{name}" may be {_names([e.id for e in hits])}; please give the id.')
    raise LibraryError(
        f'There is no model "{name}" in the library; "swingmatch library list" shows those there are.'
    )


def _entry(entry: Entry) -> dict[str, Any]:
    from swingmatch.library.exchange import entry_to_json

    return entry_to_json(entry, entry.media)


def _gone(models: Sequence[str], footage: Sequence[str], consents: int) -> str:
    if not models and not footage and not consents:
        return "There was nothing to remove."
    return f"Removed: {len(models)} models, {len(footage)} pieces of footage, {consents} consents, and all their files."


def _warn(store: Store) -> None:
    for sentence in store.warnings():
        print(f"swingmatch: {sentence}", file=sys.stderr)


def _say(words: argparse.Namespace, text: str) -> None:
    if not words.json:
        print(text)


def _swings(count: int) -> str:
    return "1 swing" if count == 1 else f"{count} swings"


def _names(ids: Iterable[str]) -> str:
    return ", ".join(id[:_SHORT] for id in ids)


def _two(value: float) -> str:
    return f"{value:.2f}" if math.isfinite(value) else "–"


def _number(value: float) -> float | None:
    return float(value) if math.isfinite(value) else None


def aligned(rows: Sequence[Sequence[str]]) -> list[str]:
    """Rows as lines whose columns stand under each other; a column that is empty in all of them is left out."""
    if not rows:
        return []
    wide = [max(len(row[column]) for row in rows) for column in range(len(rows[0]))]
    return [
        "  ".join(text.ljust(width) for text, width in zip(row, wide, strict=True) if width).rstrip()
        for row in rows
    ]


def print_json(value: Mapping[str, Any] | Sequence[Any]) -> None:
    """One value for a program."""
    print(json.dumps(value, indent=2, ensure_ascii=False, allow_nan=False))


def _day(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise argparse.ArgumentTypeError(f"{text!r} is no date like 2026-05-31") from None
