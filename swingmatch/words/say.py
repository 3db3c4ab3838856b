"""The sentences of an explanation. Everything that a review says of findings is worded here.

Plain values in, text in the spoken language out; what is said, and of what, is decided in ``swingmatch.findings``.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import date

from swingmatch.words import units
from swingmatch.words.language import N_, _, decimal, language, ngettext, pgettext

#: How a difference is called: pattern of the key, unit (any where empty) -> less, more. The first that fits.
_DIRECTIONS: tuple[tuple[str, str, str, str], ...] = (
    (r"^shift$", "ms", N_("earlier"), N_("later")),
    (r"_(start|peak|until)$|^hands_together", "ms", N_("later"), N_("earlier")),
    (r"time$|duration$", "ms", N_("shorter"), N_("longer")),
    (r"front", "", N_("further back"), N_("further in front")),
    (r"behind", "", N_("less far behind"), N_("further behind")),
    (r"aside", "", N_("closer to the body"), N_("further from the body")),
    (r"below", "", N_("less far below"), N_("further below")),
    (r"height$|highest|above|reach$", "", N_("lower"), N_("higher")),
    (r"width$", "", N_("narrower"), N_("wider")),
    (r"flexion", "", N_("straighter"), N_("more bent")),
    (r"speed", "", N_("slower"), N_("faster")),
    (r"^face|_face$", "", N_("more closed"), N_("more open")),
    (r"", "", N_("less"), N_("more")),
)

#: Phases and instants, as a moment within a sentence.
_WHEN = {
    "contact": N_("at contact"),
    "end of take-back": N_("at the end of the take-back"),
    "preparation": N_("in the preparation"),
    "take-back": N_("in the take-back"),
    "load": N_("in the load"),
    "drop": N_("in the drop"),
    "forward swing": N_("in the forward swing"),
    "follow-through": N_("in the follow-through"),
    "recovery": N_("in the recovery"),
    "toss": N_("in the toss"),
    "loading": N_("in the loading"),
    "loaded": N_("in the loaded position"),
    "racket low": N_("at the racket's low point"),
    "upward swing": N_("in the upward swing"),
    "after": N_("after contact"),
    "whole swing": N_("over the whole swing"),
}
_LASTS = {
    "preparation": N_("Length of the preparation"),
    "take-back": N_("Length of the take-back"),
    "drop": N_("Length of the drop"),
    "forward swing": N_("Length of the forward swing"),
    "follow-through": N_("Length of the follow-through"),
    "recovery": N_("Length of the recovery"),
}
#: Keys that are told on a clock: the racket face, its upper edge seen from the hitting side of a right-hander.
_FACES = re.compile(r"^face|_face$")
#: Camera sides and strokes, as they stand in data.
_SIDES = {
    "front": N_("seen from the front"),
    "front right": N_("seen from the front right"),
    "right side": N_("seen from the right side"),
    "back right": N_("seen from the back right"),
    "back": N_("seen from the back"),
    "back left": N_("seen from the back left"),
    "left side": N_("seen from the left side"),
    "front left": N_("seen from the front left"),
}
_STROKES = {
    "forehand": N_("forehand"),
    "two-handed backhand": N_("two-handed backhand"),
    "one-handed backhand": N_("one-handed backhand"),
    "serve": N_("serve"),
}


def side(name: str) -> str:
    """ "seen from the right side"."""
    return _(_SIDES.get(name, name))


def strokes(name: str, count: int) -> str:
    """ "3 forehands"."""
    known = {
        "forehand": ngettext("{number} forehand", "{number} forehands", count),
        "two-handed backhand": ngettext(
            "{number} two-handed backhand", "{number} two-handed backhands", count
        ),
        "one-handed backhand": ngettext(
            "{number} one-handed backhand", "{number} one-handed backhands", count
        ),
        "serve": ngettext("{number} serve", "{number} serves", count),
    }
    return known.get(name, ngettext("{number} swing", "{number} swings", count)).format(number=count)


def stroke(name: str) -> str:
    """A stroke's name."""
    return _(_STROKES.get(name, name))


def opening(player: str, swings: str, seen: str, model: str, generated: bool) -> str:
    """Who was seen doing what, beside whom."""
    if generated:
        told = _("{player}: {swings}, {seen}, beside {model} (generated figure).")
    else:
        told = _("{player}: {swings}, {seen}, beside {model}.")
    return told.format(player=player, swings=swings, seen=seen, model=model)


def when(phase: str) -> str:
    """A phase or an instant as a moment: "in the drop"; empty for none."""
    return _(_WHEN[phase]) if phase in _WHEN else phase


def about(label: str, key: str, phase: str) -> str:
    """What a figure is about, and when: "Bend of the outside knee in the drop"."""
    if key == "duration":
        return _(_LASTS.get(phase, phase))
    if key == "shift":
        return _("Timing {when}").format(when=when(phase))
    # Words after a comma or in brackets explain a scale; the sentence carries the unit anyway.
    short = re.split(r"[,(]", _(label))[0].strip()
    return f"{short} {when(phase)}" if phase else short


def comparison(key: str, unit: str, value: float, doubt: float, floor: float, praise: bool = False) -> str:
    """Player against model in words: "about 2 hand widths further back than the model".

    What is less than the ``floor`` apart is close where it is praised.
    """
    if abs(value) < 0.35 * floor:
        return _("the same as the model")
    if praise and abs(value) < floor:
        return _("close to the model")
    less, more = next(
        (less, more)
        for pattern, only, less, more in _DIRECTIONS
        if re.search(pattern, key) and only in ("", unit)
    )
    size = units.size(value, unit, doubt, floor)
    return _("{size} {more} than the model").format(size=size, more=_(more if value > 0 else less))


def evidence(
    *,
    label: str,
    key: str,
    phase: str,
    unit: str,
    player: float,
    model: float,
    doubt: float,
    floor: float,
    at: float,
    swings: int,
    praise: bool = False,
) -> str:
    """One sentence: what and when, how far from the model, the figures beside, how sure, where to look."""
    pieces = {
        "what": about(label, key, phase),
        "comparison": comparison(key, unit, player - model, doubt, floor, praise),
        "player": units.figure(player, unit, doubt, bare=True),
        "model": units.figure(model, unit, doubt),
        "doubt": units.figure(2.0 * doubt, unit, doubt, bare=True),
        "swings": ngettext("one swing", "mean of {number} swings", swings).format(number=swings),
        "moment": units.moment(at),
    }
    if key == "shift":
        return _("{what}: {comparison} (give or take {doubt} ms; {swings}; look {moment}).").format(**pieces)
    if _FACES.search(key):
        pieces["clock"], pieces["other"] = (units.clock(90.0 - value) for value in (player, model))
        return _(
            "{what}: {comparison} (upper edge at {clock}, the model's at {other}, seen from the hitting side; "
            "{player} against {model}, give or take {doubt}; {swings}; look {moment})."
        ).format(**pieces)
    return _(
        "{what}: {comparison} ({player} against {model}, give or take {doubt}; {swings}; look {moment})."
    ).format(**pieces)


def how_many(swings: int, of: int) -> str:
    """In how many swings a pattern shows."""
    if of <= 1:
        return _("Seen in the one swing of this clip.")
    if swings >= of:
        return _("Seen in all {of} swings.").format(of=of)
    return ngettext("Seen in {number} of {of} swings.", "Seen in {number} of {of} swings.", swings).format(
        number=swings, of=of
    )


def how_sure(sure: float) -> str:
    """How sure, in three plain words; a percentage would claim more than is known."""
    if sure >= 0.9:
        return _("quite certain")
    return _("likely") if sure >= 0.7 else _("possible")


#: Why something stands where it stands, by factor: where it is high.
_REASONS = {
    "consequence": N_("it costs the ball most"),
    "size": N_("it is the largest difference"),
    "sure": N_("it is the most certain"),
    "early": N_("it comes early in the stroke, and later things follow from it"),
    "teachable": N_("it can be changed soon"),
}


def reason(place: int, factors: Sequence[str], coach: float | None) -> str:
    """Why a change stands in its place, one sentence; ``coach`` is the weight of this coach's overrules, or None."""
    told = [_(_REASONS[factor]) for factor in factors if factor in _REASONS] or [_("it matters most here")]
    because = told[0] if len(told) == 1 else _("{one}, and {other}").format(one=told[0], other=told[1])
    start = {1: _("First because {because}"), 2: _("Second because {because}")}
    out = start.get(place, _("Then because {because}")).format(because=because)
    if coach is not None and abs(coach - 1.0) > 0.01:
        out += _("; weighed {weight} times for what you changed in earlier reviews").format(
            weight=decimal(coach, 2)
        )
    return out + "."


def confused_with(title: str, how: str) -> str:
    """What else it could be, and how to tell."""
    # Entries hold a fragment ("hips are on time, the arm waits") or a sentence; either way it ends the line.
    return _("It could also be “{title}”: {how}").format(title=title, how=how.rstrip(".") + ".")


def left_out_why(reason: str) -> str:
    """Why something that was seen is not among the changes."""
    known = {
        "symptom": _("it follows from another change"),
        "less": _("three changes are enough at a time"),
        "unsure": _("it is not certain enough"),
        "coach": _("you took it out"),
    }
    return known.get(reason, reason)


def unnamed(number: int, swings: int, of: int) -> str:
    """A recurring pattern that has no name yet."""
    return _("Pattern {number} without a name yet. {seen} You may name it.").format(
        number=number, seen=how_many(swings, of)
    )


def unnamed_title(number: int) -> str:
    """What a pattern without a name is called."""
    return _("Without a name: {number}").format(number=number)


def contact_scatter(word: str, hand_widths: tuple[float, float, float] | None, swings: int) -> str:
    """Whether contact repeats; ``hand_widths``: how far from its mean place, low and high end of it, or None."""
    known = {
        "repeats well": _("Contact repeats well from swing to swing."),
        "varies": _("Contact varies from swing to swing."),
        "wanders": _("Contact wanders from swing to swing."),
        "too few swings to tell": _("Whether contact repeats cannot be told from so few swings."),
        "cannot be told from this view": _("Whether contact repeats cannot be told from this view."),
    }
    out = known.get(word, word)
    if hand_widths is not None and word in ("repeats well", "varies", "wanders"):
        own, low, high = (decimal(round(2 * width) / 2, 1) for width in hand_widths)
        out += " " + _(
            "It lies about {own} hand widths from its mean place ({low} to {high}; {number} swings)."
        ).format(own=own, low=low, high=high, number=swings)
    return out


def timing_scatter(own: float, low: float, high: float) -> str:
    """How much the time from the start of the forward swing to contact varies, ms."""
    figures = {
        name: units.figure(value, "ms", 15.0, bare=True)
        for name, value in (("own", own), ("low", low), ("high", high))
    }
    if figures["own"] == "0":
        return _("The forward swing takes the same time from swing to swing (to about {high} ms).").format(
            **figures
        )
    return _("The forward swing's length varies by {own} ms from swing to swing ({low} to {high}).").format(
        **figures
    )


def settle(titles: Sequence[str], sides: Sequence[str], needs: Sequence[str]) -> str:
    """What this view cannot tell, and which footage would. ``sides``, ``needs`` as in ``findings.patterns.settle``."""
    names = joined([f"“{_(title)}”" if language() == "en" else f"„{_(title)}“" for title in titles])
    if "more swings" in needs:
        return _("{names}: at least five swings of the same stroke in one clip would show it.").format(
            names=names
        )
    if "racket" in needs or "ball" in needs:
        return _("{names}: this needs the racket, marked in a few pictures of the clip.").format(names=names)
    if not sides:
        return _("{names}: no single view shows it well; two clips from different sides may.").format(
            names=names
        )
    seen = [side(name) for name in sides[:2]]
    words = seen[0] if len(seen) == 1 else _("{one} or {other}").format(one=seen[0], other=seen[1])
    return _("{names}: a clip {seen} would show it.").format(names=names, seen=words)


def nothing_certain() -> str:
    """Where no change is certain."""
    return _("Nothing stands out from this view with certainty.")


def nothing_to_praise() -> str:
    """Where no strength is certain."""
    return _("Nothing could be said with enough certainty from this clip.")


def caution() -> str:
    """The usual caution, short."""
    return _("Feedback on movement, not medical advice. If something hurts, stop and see a professional.")


def caution_load() -> str:
    """The caution where a change brings load."""
    return _(
        "Build up slowly, one change at a time, and ask a licensed professional where there was an injury."
    )


def heading(name: str) -> str:
    """A heading or a label of what findings show."""
    known = {
        "works": _("What already works"),
        "change": _("What to change"),
        "also": _("Also seen"),
        "unnamed": _("Not named yet"),
        "repeat": _("How well it repeats"),
        "since": _("Since the last review"),
        "settle": _("What would settle it"),
        "sure": _("How sure"),
        "hidden": _("Not visible from this view"),
        "costs": _("What it costs"),
        "cause": _("Usual cause"),
        "think": _("Think"),
        "practise": _("Practise"),
        "steps": _("Step by step"),
        "dose": _("How much"),
        "under": _("Explained by it"),
        "care": _("Take care"),
        "or": _("Or else"),
        "why": _("Why here"),
        "evidence": _("What was seen"),
    }
    return known[name]


def joined(names: Sequence[str]) -> str:
    """Names in a row with "and" before the last."""
    if len(names) < 2:
        return "".join(names)
    return _("{names} and {last}").format(names=", ".join(names[:-1]), last=names[-1])


def since_opening(day: date, days: int, same_side: bool) -> str:
    """Which review this one is set beside."""
    told = (
        ngettext(
            "Beside the review of {day}, {number} day earlier, filmed from {where}.",
            "Beside the review of {day}, {number} days earlier, filmed from {where}.",
            days,
        )
        if days
        else _("Beside another clip of the same day, {day}, filmed from {where}.")
    )
    where = _("the same side") if same_side else _("another side, so less can be told")
    return told.format(day=day_words(day), number=days, where=where)


def day_words(day: date) -> str:
    """A day as it is written: "17 May 2024"."""
    months = (
        _("January"), _("February"), _("March"), _("April"), pgettext("month", "May"), _("June"),
        _("July"), _("August"), _("September"), _("October"), _("November"), _("December"),
    )  # fmt: skip
    return _("{day} {month} {year}").format(day=day.day, month=months[day.month - 1], year=day.year)


def target_then_and_now(
    title: str, verdict: str, unit: str, gain: tuple[float, float, float], smallest: float, why: str
) -> str:
    """What became of something that was to be changed.

    ``gain`` : how much nearer to the model, and the ends of its 90 % interval. ``smallest`` : the smallest change that
    can be told from noise. ``verdict``, ``why`` : as in ``findings.change``.
    """
    name = _(title)
    sd = smallest / 2.0
    pieces = {
        "title": name,
        "gain": units.figure(abs(gain[0]), unit, sd),
        "low": units.figure(gain[1], unit, sd, bare=True),
        "high": units.figure(gain[2], unit, sd, bare=True),
        "smallest": units.figure(smallest, unit, sd),
        "why": _(_WHY.get(why, why)),
    }
    known = {
        "better": _(
            "“{title}”: nearer to the model by {gain} ({low} to {high}; less than {smallest} could be chance)."
        ),
        "worse": _(
            "“{title}”: farther from the model by {gain} ({low} to {high}; less than {smallest} could be chance)."
        ),
        "held": _("“{title}”: as good as the model, as before."),
        "no change that can be told": _(
            "“{title}”: no change that can be told; it would have to be {smallest} or more."
        ),
        "past the model, to the other side": _("“{title}”: now past the model, to the other side."),
        "cannot be compared": _("“{title}”: cannot be compared ({why})."),
    }
    return known.get(verdict, "{title}").format(**pieces)


_WHY = {
    "not visible then": N_("not visible last time"),
    "not visible now": N_("not visible this time"),
    "filmed from another side": N_("filmed from another side"),
}


def fault_then_and_now(title: str, verdict: str) -> str:
    """What became of something that was named last time."""
    known = {
        "gone": _("“{title}” is gone."),
        "still there": _("“{title}” is still there."),
        "cannot be told yet": _("Whether “{title}” is still there cannot be told yet."),
        "cannot be compared": _("Whether “{title}” is still there cannot be seen from this side."),
    }
    return known.get(verdict, "{title}").format(title=_(title))


def contact_then_and_now(verdict: str) -> str:
    """Whether contact repeats better than last time."""
    known = {
        "repeats better": _("Contact repeats better than last time."),
        "repeats less well": _("Contact repeats less well than last time."),
        "no change that can be told": _("How well contact repeats: no change that can be told."),
        "cannot be compared": _("How well contact repeats cannot be compared with last time."),
    }
    return known.get(verdict, verdict)


def hidden_line(names: Sequence[str]) -> str:
    """What this view cannot show, in one line."""
    # German keeps the capitals of its nouns.
    shown = [name[:1].lower() + name[1:] for name in names] if language() == "en" else list(names)
    return _("Not visible from this view: {names}.").format(names=", ".join(shown))


def table_label(name: str) -> str:
    """A label of the small table of figures."""
    known = {
        "player": _("Player"),
        "model": _("Model"),
        "difference": _("Difference"),
        "doubt": _("Give or take"),
        "swings": _("Swings behind it"),
    }
    return known[name]


def picture_line(seconds: float) -> str:
    """Under the two pictures: which moment they show."""
    return _("{moment}, both at the same moment of the stroke.").format(
        moment=units.moment(seconds).capitalize()
    )


def another_side() -> str:
    """What to try where nothing stands out."""
    return _("A clip from another side may show more.")


def key_words() -> tuple[str, str, str]:
    """Of the key to the joints' colours: what it shows, what follows its upper end, what is grey."""
    return (
        _("Joint colour: difference from the model"),
        _("or more"),
        _("not visible from this view"),
    )
