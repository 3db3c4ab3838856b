"""Whether repeats are good enough to be a model for others, with the reasons in sentences.

What is refused can be taken in all the same where the coach says why; the reason is then kept with the model.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from swingmatch.library.model import Typical
from swingmatch.stroke.strokes import definition_of
from swingmatch.stroke.swing import Swing

#: Repeats from which a spread means something. *Common practice, no source*.
ENOUGH = 3
#: Degrees a segment by which a repeat may be away from the mean. Of 8 recorded players' repeats 95 in 100 were nearer
#: than 12.8, and two players' means were never nearer than 15.2: beyond that it may as well be somebody else's swing.
ODD, FOREIGN = 13.0, 15.0
#: Standard deviation of contact, seconds: a frame at 60 a second, and three. Own judgement.
VAGUE, UNKNOWN = 1 / 60, 3 / 60
#: The model is turned about the vertical by so many degrees as likely as not, where this is its standard deviation.
TURNED = 25.0


@dataclass(frozen=True)
class Verdict:
    """Sentences on why the repeats make no model (``against``), and on what to know of it (``doubts``)."""

    against: tuple[str, ...]
    doubts: tuple[str, ...]

    @property
    def passed(self) -> bool:
        """Whether nothing speaks against it."""
        return not self.against


#: Remarks on footage that limit more than the one clip: what is hidden or too small in a model is not there to compare
#: anybody with.
_AGAINST = frozenset({"in view", "found", "size"})


def of_footage(remarks: Iterable[tuple[str, str, str]]) -> Verdict:
    """What remarks on the footage (kind, severity, sentence; as ``footage.check`` has them) say of a model from it.

    Nothing is said of what is fine. Blur, light, sound and the camera are doubts: contact and the camera's place are
    judged by how well they are known.
    """
    against, doubts = [], []
    for kind, severity, sentence in remarks:
        if severity == "unusable" or (severity == "limits" and kind in _AGAINST):
            against.append(sentence)
        elif severity == "limits":
            doubts.append(sentence)
    return Verdict(tuple(against), tuple(doubts))


def judge(
    repeats: Sequence[Swing],
    model: Typical,
    contact_sds: Sequence[float],
    footage: Verdict = Verdict((), ()),
) -> Verdict:
    """Judge the repeats of one volunteer's stroke.

    Parameters
    ----------
    repeats : at least one. model : made of them. contact_sds : of each, seconds; 0 where contact is known.
    footage : what the film itself says against them.
    """
    against: list[str] = list(footage.against)
    doubts: list[str] = list(footage.doubts)
    if len(repeats) < ENOUGH:
        count = "One swing says" if len(repeats) == 1 else f"{len(repeats)} swings say"
        doubts.append(f"{count} little of how much the volunteer varies; {ENOUGH} or more are better.")
    for number, (swing, apart, sd) in enumerate(zip(repeats, model.apart, contact_sds, strict=True), start=1):
        if apart > FOREIGN:
            against.append(
                f"Swing {number} is {apart:.0f} degrees a segment away from the others, as far as another player's."
            )
        elif apart > ODD:
            doubts.append(f"Swing {number} is rather unlike the others ({apart:.0f} degrees a segment).")
        if sd > UNKNOWN:
            against.append(f"The contact of swing {number} is known to {1000 * sd:.0f} ms only.")
        elif sd > VAGUE:
            doubts.append(f"The contact of swing {number} is known to {1000 * sd:.0f} ms.")
        missing = [event for event in definition_of(swing).events if event not in swing.events]
        if len(missing) > len(definition_of(swing).events) // 2:
            against.append(f"Of swing {number} too little was found: no {_listed(missing)}.")
        elif missing:
            doubts.append(f"Of swing {number} these were not found: {_listed(missing)}.")
    turned = max(swing.azimuth_sd for swing in repeats)
    if turned > TURNED:
        doubts.append(
            f"Where the camera stood is known to {turned:.0f} degrees only; film with the court's lines in view."
        )
    return Verdict(tuple(against), tuple(doubts))


def _listed(names: Sequence[str]) -> str:
    return ", ".join(name.replace("_", " ") for name in names)
