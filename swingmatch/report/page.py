"""The review as one HTML file that works without a network: text, stills, film, 3-D view, map."""

from __future__ import annotations

import base64
import datetime
import json
import os
from collections.abc import Iterable
from html import escape
from importlib import resources
from pathlib import Path
from typing import Any
from urllib.parse import quote

from swingmatch.errors import ClipError
from swingmatch.findings.explanation import Change
from swingmatch.findings.review import Finding, Review
from swingmatch.report.changes_page import change_words, more_sections, section, spoken
from swingmatch.report.film import ClipFrames
from swingmatch.report.joint_map import HIDDEN_WORDS, map_figure
from swingmatch.report.labels import moment_label, number, quantity_label, sentence_case
from swingmatch.report.measures_page import measures_section
from swingmatch.report.palette import FULL_SCALE_DEG, MODEL, NOT_VISIBLE, PLAYER, VIRIDIS
from swingmatch.report.save import save_text
from swingmatch.report.scene import scene_payload
from swingmatch.report.stills import jpeg, stills
from swingmatch.words import say
from swingmatch.words.language import speaking

#: A film up to this size goes into the page itself; a larger one is linked.
EMBED_BYTES = 8_000_000

CAUTION = (
    "This is feedback on movement, not medical advice. If something hurts, stop and see a professional before "
    "you change anything. Change one thing at a time and build up slowly. Film a minor only with the consent of "
    "a parent or carer and of the child, and keep the clip private."
)
#: Plotly needs inline script and style; nothing may be fetched, and nothing may be sent.
_POLICY = (
    "default-src 'none'; script-src 'unsafe-inline'; style-src 'unsafe-inline'; img-src data: blob:; "
    "media-src data: 'self' file:; font-src data:; connect-src 'none'; form-action 'none'; base-uri 'none'"
)


def write_page(
    review: Review,
    path: str | os.PathLike[str],
    film_path: str | os.PathLike[str] | None = None,
    *,
    clip_frames: ClipFrames | None = None,
    date: datetime.date | None = None,
) -> None:
    """Write the review as one HTML file.

    Parameters
    ----------
    review : what to show.
    path : the file to make; it appears under its name only when it is whole.
    film_path : the film, put into the page where it is under ``EMBED_BYTES``, else linked beside it.
    clip_frames : gives the clip's frames between two times, for the stills; without it they show skeletons only.
    date : day to print; today if not given.

    Raises
    ------
    ClipError
        When the file cannot be written.
    """
    target = Path(path)
    text = page_html(review, film_path, clip_frames=clip_frames, date=date, folder=target.parent)
    save_text(text, target)


def page_html(
    review: Review,
    film_path: str | os.PathLike[str] | None = None,
    *,
    clip_frames: ClipFrames | None = None,
    date: datetime.date | None = None,
    folder: Path | None = None,
) -> str:
    """The page as text; ``folder`` is where it will lie, for a link to a film that is too large to embed."""
    from plotly.offline import get_plotlyjs

    day = date or datetime.date.today()
    title = f"{review.player}: forehand review"
    parts = (
        _head(title),
        _opening(review, day),
        "<main id='review'>",
        _strengths(review),
        _changes(review, clip_frames),
        more_sections(review.explanation),
        _film(review, film_path, folder),
        _scene(review),
        _map(review),
        measures_section(review, clip_frames),
        _swings(review),
        _how_sure(review),
        "</main>",
        "<footer>Made on this computer; the page holds everything it shows and sends nothing anywhere.</footer>",
        f"<script>{get_plotlyjs()}</script>",
        _json("scene-data", scene_payload(_escaped(review))),
        _json("map-data", map_figure(review)) if review.deviations else "",
        f"<script>{_asset('page.js')}</script>",
        "</body></html>",
    )
    return "\n".join(part for part in parts if part)


def _asset(name: str) -> str:
    return resources.files("swingmatch.report").joinpath(name).read_text(encoding="utf-8")


def _json(name: str, value: Any) -> str:
    """A data block that no text in it can end: every ``<`` is written as an escape."""
    text = json.dumps(value, separators=(",", ":"), ensure_ascii=False).replace("<", "\\u003c")
    return f"<script type='application/json' id='{name}'>{text}</script>"


def _escaped(review: Review) -> Review:
    """The review with its names made safe for Plotly, which reads some tags in text."""
    from dataclasses import replace

    return replace(review, player=escape(review.player), model_name=escape(review.model_name))


def _head(title: str) -> str:
    return (
        "<!DOCTYPE html><html lang='en'><head><meta charset='utf-8'>"
        f'<meta http-equiv="Content-Security-Policy" content="{_POLICY}">'
        "<meta name='viewport' content='width=device-width, initial-scale=1'>"
        f"<title>{escape(title)}</title><link rel='icon' href='data:,'>"
        f"<style>{_asset('page.css')}</style></head><body><a class='skip' href='#review'>Skip to the review</a>"
    )


def _opening(review: Review, day: datetime.date) -> str:
    count = len(review.pairs)
    facts = (
        f"{day.day} {day:%B %Y}",
        f"{count} forehand{'' if count == 1 else 's'} from {review.clip}",
        f"seen from the {review.camera_side}",
        f"beside {review.model_name}" + (" (generated figure)" if review.model_generated else ""),
    )
    return (
        f"<header class='top'><h1>{escape(review.player)}</h1>"
        f"<p class='facts'>{escape(' · '.join(facts))}</p>"
        f"<p class='caution' role='note'>{escape(CAUTION)}</p></header>"
    )


def _strengths(review: Review) -> str:
    with speaking(spoken(review.explanation)):
        if not review.strengths:
            body = f"<p>{escape(say.nothing_to_praise())}</p>"
        else:
            items = "".join(
                f"<li><h3>{escape(s.title)}</h3><p>{escape(s.sentence)}</p></li>" for s in review.strengths
            )
            body = f"<ul class='plain works'>{items}</ul>"
        return section("works", say.heading("works"), body)


def _changes(review: Review, clip_frames: ClipFrames | None) -> str:
    with speaking(spoken(review.explanation)):
        if review.changes:
            said = review.explanation.priorities if review.explanation else ()
            more = [*said, *[None] * (len(review.changes) - len(said))]
            body = _key() + "".join(
                _change(review, i, finding, one, clip_frames)
                for i, (finding, one) in enumerate(zip(review.changes, more, strict=False), 1)
            )
        else:
            body = f"<p class='lead'>{escape(say.nothing_certain())}</p><p>{escape(say.another_side())}</p>"
        return section("change", say.heading("change"), body)


def _key() -> str:
    """Key to the joints' colours."""
    stops = ", ".join(VIRIDIS)
    about, more, hidden = (escape(words) for words in say.key_words())
    return (
        f"<p class='key'><span>{about}</span><span class='scale'>0°"
        f"<span class='bar' style='background:linear-gradient(90deg, {stops})'></span>"
        f"{FULL_SCALE_DEG:.0f}° {more}</span>"
        f"<span><span class='dot' style='background:{NOT_VISIBLE}'></span>{hidden}</span></p>"
    )


def _change(
    review: Review, place: int, finding: Finding, said: Change | None, clip_frames: ClipFrames | None
) -> str:
    deviation = finding.deviation
    shot = stills(review, deviation, clip_frames)
    where = moment_label(deviation.phase)
    label = quantity_label(deviation.quantity).lower()
    pictures = "".join(
        f"<figure><img src='{_data_url('image/jpeg', jpeg(picture))}' width='{picture.shape[1]}' "
        f"height='{picture.shape[0]}' alt='{escape(alt, quote=True)}'>"
        f"<figcaption><span class='dot' style='background:{colour}'></span>{escape(name)}</figcaption></figure>"
        for picture, alt, colour, name in (
            (
                shot.player,
                f"{review.player}, {where}, {label} {number(deviation.player, deviation.unit)}",
                PLAYER,
                review.player,
            ),
            (
                shot.model,
                f"The model from the same side at the same moment, {label} {number(deviation.model, deviation.unit)}",
                MODEL,
                f"{say.table_label('model')}: {review.model_name}",
            ),
        )
    )
    return (
        f"<article class='change'><header><span class='number' aria-hidden='true'>{place}</span>"
        f"<h3>{escape(finding.title)}</h3></header>"
        f"<div class='pair'>{pictures}<p class='under when'>{escape(say.picture_line(shot.time))}</p></div>"
        f"<div>{change_words(finding, said)}</div></article>"
    )


def _film(review: Review, film_path: str | os.PathLike[str] | None, folder: Path | None) -> str:
    if film_path is None:
        return ""
    film = Path(film_path)
    try:
        if film.stat().st_size <= EMBED_BYTES:
            source = _data_url("video/mp4", film.read_bytes())
        else:
            source = quote(Path(os.path.relpath(film, folder or film.parent)).as_posix())
    except OSError as problem:
        raise ClipError(
            f"The film {film.name} could not be read ({problem.strerror}); please make it again."
        ) from problem
    about = (
        f"Film: {review.player} on the left, the model on the right, slowed down, always at the same moment of "
        "the stroke"
    )
    return (
        "<section aria-labelledby='film-head'><h2 id='film-head'>Side by side</h2>"
        "<p>Left the clip, right the model from the same side. When the player is at contact, so is the model.</p>"
        f"<div class='stage bleed'><video id='film' controls playsinline muted loop preload='auto' "
        f"aria-label='{escape(about, quote=True)}' src='{source}'>"
        "This browser cannot play the film; open the film file beside this page.</video>"
        "<div class='controls' id='film-controls' hidden>"
        "<button type='button' id='film-play'>Play</button>"
        "<button type='button' id='film-back' aria-label='One picture back'>◂</button>"
        "<button type='button' id='film-on' aria-label='One picture on'>▸</button>"
        "<input type='range' id='film-at' min='0' max='1' value='0' step='0.001' aria-label='Place in the film'>"
        "<button type='button' id='film-full'>Full screen</button></div></div></section>"
    )


def _scene(review: Review) -> str:
    choice = ""
    if len(review.pairs) > 1:
        options = "".join(
            f"<option value='{i}'{' selected' if i == review.best else ''}>Swing {i + 1}</option>"
            for i in range(len(review.pairs))
        )
        choice = f"<label>Swing <select id='swing'>{options}</select></label>"
    about = (
        "Stick figures of the player and the model in three dimensions; drag to turn. The slider below moves both "
        "through the stroke"
    )
    return (
        "<section aria-labelledby='both'><h2 id='both'>Both swings in 3-D</h2>"
        "<p>Drag to turn, use the slider to move both through the stroke. The hips are put over the same spot. "
        "Each of the player's joints takes its colour from how far it departs from the model; a grey joint is "
        f"{HIDDEN_WORDS}. Depth is judged from one camera and is the least certain.</p>"
        f"<div class='stage bleed'><div id='scene' role='img' aria-label='{escape(about, quote=True)}'></div>"
        "<div id='when' aria-live='polite'></div><div class='controls'>"
        "<button type='button' id='play'>Play</button><button type='button' id='contact'>Contact</button>"
        "<input type='range' id='step' min='0' max='1' value='0' step='1' aria-label='Moment of the stroke'>"
        f"{choice}</div>{_key()}</div></section>"
    )


def _map(review: Review) -> str:
    if not review.deviations:
        return ""
    return (
        "<section aria-labelledby='map-head'><h2 id='map-head'>Joint by phase</h2>"
        "<p>Every difference from the model. Stronger colour is a bigger difference in units of what counts: "
        "beyond 1 it is larger than chance and large enough to matter, and is outlined. Hatched cells are "
        f"{HIDDEN_WORDS}. Point at a cell, or touch it, for the numbers.</p>"
        "<div class='wide' tabindex='0' role='group' aria-label='Map of differences, scrolls sideways'>"
        f"<div id='map'></div></div>{_map_table(review)}</section>"
    )


def _map_table(review: Review) -> str:
    """The map's numbers as a table, folded away: for screen readers, and for copying."""
    rows = "".join(
        "<tr>"
        + "".join(
            f"<td{extra}>{escape(text)}</td>"
            for text, extra in (
                (quantity_label(d.quantity), ""),
                (sentence_case(moment_label(d.phase)), ""),
                *(
                    (
                        (number(d.player, d.unit), " class='n'"),
                        (number(d.model, d.unit), " class='n'"),
                        (number(d.value, d.unit, signed=True), " class='n'"),
                        ("yes" if d.counts else "no", ""),
                    )
                    if d.visible
                    else ((HIDDEN_WORDS, " colspan='4'"),)
                ),
            )
        )
        + "</tr>"
        for d in review.deviations
    )
    heads = "".join(
        f"<th scope='col'{' class=n' if n else ''}>{t}</th>"
        for t, n in (
            ("Quantity", 0),
            ("When", 0),
            ("Player", 1),
            ("Model", 1),
            ("Difference", 1),
            ("Counts", 0),
        )
    )
    return (
        "<details><summary>All numbers as a table</summary><div class='wide'><table><thead><tr>"
        f"{heads}</tr></thead><tbody>{rows}</tbody></table></div></details>"
    )


def _swings(review: Review) -> str:
    rows = "".join(
        f"<tr><th scope='row'>Swing {i + 1}{' (shown first)' if i == review.best else ''}</th>"
        f"<td class='n'>{pair.player.contact:.2f} s</td><td class='n'>{pair.alignment.distance:.1f}°</td></tr>"
        for i, pair in enumerate(review.pairs)
    )
    return (
        "<section aria-labelledby='swings'><h2 id='swings'>The swings</h2><table><thead><tr>"
        "<th scope='col'>Swing</th><th scope='col' class='n'>Contact in the clip</th>"
        "<th scope='col' class='n'>Mean difference from the model, a segment</th></tr></thead>"
        f"<tbody>{rows}</tbody></table><p class='under'>The smaller the difference, the more alike.</p></section>"
    )


def _list(items: Iterable[str]) -> str:
    return "<ul>" + "".join(f"<li>{escape(item)}</li>" for item in items) + "</ul>"


def _how_sure(review: Review) -> str:
    parts = ["<section aria-labelledby='sure'><h2 id='sure'>How sure is this</h2>"]
    if review.notes:
        parts.append(_list(review.notes))
    if review.not_visible:
        parts.append(f"<h3>{sentence_case(HIDDEN_WORDS)}</h3>{_list(review.not_visible)}")
        parts.append("<p>Nothing is said about these. A clip from another side would show them.</p>")
    if review.model_reasons:
        parts.append(f"<h3>Why this model</h3>{_list(review.model_reasons)}")
    if review.model_generated:
        parts.append("<p>The model is a generated figure; no person was recorded.</p>")
    parts.append(
        "<h3>How it was measured</h3><p>The body was followed in the clip's pictures by a pose estimator, cut into "
        "swings, and laid over the model so that both are at the same moment of the stroke, contact on contact. "
        "Body size and hitting hand are taken out before anything is compared. A difference counts only when it is "
        "larger than the model's own variation, the error of measurement and what matters on court. “Give or take” "
        "is twice the standard deviation of all of these together.</p></section>"
    )
    return "".join(parts)


def _data_url(kind: str, data: bytes) -> str:
    return f"data:{kind};base64,{base64.b64encode(data).decode('ascii')}"
