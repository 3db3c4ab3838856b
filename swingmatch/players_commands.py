"""``swingmatch players ...``: what was said of each player, from the command line.

Each command prints something to read; with ``--json`` it prints one JSON value instead, and nothing else.
"""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Any

from swingmatch import library_commands

if TYPE_CHECKING:
    from swingmatch.findings.change import Changes
    from swingmatch.library.store import Store
    from swingmatch.players import KeptReview, Player

_CAUTION = (
    "Of minors keep only what their parents and they agreed to; local law and the club's rules decide what has to be "
    "asked, and for how long it may be kept."
)


def register(commands: argparse._SubParsersAction) -> None:
    """Add the command to the parser."""
    players = commands.add_parser(
        "players", help="what was said of each player, and what changed", epilog=_CAUTION
    )
    where = library_commands.where_it_is()
    inner = players.add_subparsers(dest="action", required=True)
    inner.add_parser("list", help="list the players", parents=[where])
    show = inner.add_parser("show", help="show what was said of a player, and what changed", parents=[where])
    show.add_argument("player", metavar="NAME", help="code or name of the player")
    show.add_argument("--stroke", help="only of this stroke")
    show.add_argument("--chart", type=Path, metavar="FILE", help="write a page with a chart of each target")
    forget = inner.add_parser("forget", help="remove all that is kept of a player", parents=[where])
    forget.add_argument("player", metavar="NAME", help="code or name of the player")


def run(words: argparse.Namespace) -> int:
    """Run a command of the players. Returns 0."""
    from swingmatch.library.store import open_store

    with open_store(words.home, words.url) as store:
        return {"list": _list, "show": _show, "forget": _forget}[words.action](store, words)


def _list(store: Store, words: argparse.Namespace) -> int:
    from swingmatch.players import counts, players

    found, how_many = players(store), counts(store)
    if words.json:
        _print_json([_player(one) | {"reviews": how_many.get(one.code, (0, None))[0]} for one in found])
        return 0
    if not found:
        print('No player is on record. "swingmatch explain CLIP --player NAME" keeps what is said of one.')
    for line in library_commands.aligned([_line(one, *how_many.get(one.code, (0, None))) for one in found]):
        print(line)
    for warning in store.warnings():
        print(warning)
    return 0


def _line(player: Player, count: int, latest: Any) -> tuple[str, ...]:
    return (
        player.label if player.name is None else f"{player.name} ({player.code})",
        f"{player.hand}-handed" if player.hand else "",
        f"{count} review{'' if count == 1 else 's'}",
        f"last filmed {latest}" if latest else "",
        "minor" if player.minor else "",
    )


def _show(store: Store, words: argparse.Namespace) -> int:
    from swingmatch.findings.change import compare_reviews
    from swingmatch.players import find_player, reviews

    player = find_player(store, words.player)
    found = reviews(store, player.code, words.stroke)
    strokes = dict.fromkeys(one.stroke for one in found)
    told = []
    for stroke in strokes:
        of_it = [one for one in found if one.stroke == stroke]
        before: list[KeptReview | None] = [None, *of_it[:-1]]
        told += [
            (one, None if last is None else compare_reviews(last.numbers, one.numbers))
            for last, one in zip(before, of_it, strict=True)
        ]
    if words.json:
        _print_json(_player(player) | {"history": [_review(one, changes) for one, changes in told]})
    else:
        _print_history(player, told)
    if words.chart is not None:
        _write_charts(words.chart, player, found, words.json)
    return 0


def _print_history(player: Player, told: Sequence[tuple[KeptReview, Changes | None]]) -> None:
    from swingmatch.findings.since import since

    print(player.label if player.name is None else f"{player.name} ({player.code})")
    if player.notes:
        print(player.notes)
    if not told:
        print("Nothing is kept of this player yet.")
    stroke = ""
    for one, changes in told:
        if one.stroke != stroke:
            stroke = one.stroke
            print(f"\n{stroke[:1].upper()}{stroke[1:]}")
        day = f"{one.filmed_on}" if one.date_known else f"{one.filmed_on} (day of the file)"
        print(f"\n  {day}, {one.clip}, from the {one.camera_side}, beside {one.numbers.model}")
        asked = "; ".join(one.numbers.targets.values())
        print(f"    Asked for: {asked}" if asked else "    Nothing was asked for.")
        contact = one.numbers.contact
        if contact is not None:
            print(f"    Contact: {contact.word}.")
        for sentence in () if changes is None else since(changes):
            print(f"    {sentence}")
    for stroke in dict.fromkeys(one.stroke for one, _ in told):
        of_it = [one for one, _ in told if one.stroke == stroke]
        long = _long_run(of_it)
        if long is not None:
            print(f"\n  Over the whole time, {stroke}")
            for sentence in since(long):
                print(f"    {sentence}")


def _long_run(of_it: Sequence[KeptReview]) -> Changes | None:
    """The last review beside the first one from its side: small steps add up to a change that can be told."""
    from swingmatch.findings.change import compare_reviews, same_side

    alike = [one for one in of_it if same_side(one.numbers.azimuth, of_it[-1].numbers.azimuth)]
    if len(alike) < 2 or alike[0] is of_it[-2]:
        return None
    return compare_reviews(alike[0].numbers, alike[-1].numbers)


def _write_charts(path: Path, player: Player, found: Sequence[KeptReview], quiet: bool) -> None:
    from swingmatch.errors import SwingmatchError
    from swingmatch.findings.change import compare_reviews, series
    from swingmatch.findings.since import since
    from swingmatch.report.over_time import over_time_page
    from swingmatch.report.save import save_text

    if not found:
        raise SwingmatchError(f"There is nothing to draw of {player.label} yet.")
    # One page is of one stroke: the one filmed last, unless said otherwise.
    of_it = [one for one in found if one.stroke == found[-1].stroke]
    keys = dict.fromkeys(key for one in reversed(of_it) for key in one.numbers.targets)
    numbers = [one.numbers for one in of_it]
    lines = [line for key in keys if (line := series(numbers, key)) is not None]
    last = compare_reviews(numbers[-2], numbers[-1]) if len(numbers) > 1 else None
    sentences = [
        sentence for changes in (last, _long_run(of_it)) if changes is not None for sentence in since(changes)
    ]
    save_text(over_time_page(player.label, of_it[-1].stroke, lines, sentences), path)
    if not quiet:
        print(f"\nCharts: {path}")


def _forget(store: Store, words: argparse.Namespace) -> int:
    from swingmatch.players import find_player, forget

    player = find_player(store, words.player)
    gone = forget(store, player.code)
    parts = {
        "reviews": len(gone.reviews),
        "footage": len(gone.footage),
        "models": len(gone.models),
        "consents": gone.consents,
    }
    if words.json:
        _print_json({"player": player.code, **parts})
        return 0
    also = ", ".join(f"{name}: {count}" for name, count in parts.items() if count)
    print(f"All of {player.label} is removed{f' ({also})' if also else ''}.")
    print("Pages, films and notes that were written to other folders, and backups, are yours to delete.")
    return 0


def _player(player: Player) -> dict[str, Any]:
    return {
        "code": player.code,
        "name": player.name,
        "hand": player.hand,
        "notes": player.notes,
        "minor": player.minor,
        "keep_until": player.keep_until.isoformat(),
    }


def _review(one: KeptReview, changes: Changes | None) -> dict[str, Any]:
    from swingmatch.players.numbers import to_json

    return {
        "id": one.id,
        "stroke": one.stroke,
        "clip": one.clip,
        "filmed_on": one.filmed_on.isoformat(),
        "date_known": one.date_known,
        "reviewed_at": one.reviewed_at.isoformat(),
        "camera_side": one.camera_side,
        "model": one.numbers.model,
        "targets": dict(one.numbers.targets),
        "numbers": to_json(one.numbers),
        "document": dict(one.document),
        "changes": None if changes is None else asdict(changes) | {"since": changes.since.isoformat()},
    }


def _print_json(value: Any) -> None:
    from swingmatch.players.numbers import plain

    library_commands.print_json(plain(value))
