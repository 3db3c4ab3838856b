"""The words: which deviations have a name, with the cue and the drill a coach would give.

Rows are tried in order; the first that fits a deviation names it. Cues and drills are *common practice, no source*.
Clustering deviations into patterns will build on this table.
"""

from __future__ import annotations

from dataclasses import dataclass

from swingmatch.findings.deviation import Deviation


@dataclass(frozen=True)
class Phrase:
    """A named departure.

    Attributes
    ----------
    quantity : key of the quantity. phases : columns in which the name holds. sign : +1 or -1, of player minus model.
    title, cue, drill : what is said. importance : weight in the ranking; contact and what leads to it come first.
    """

    quantity: str
    phases: tuple[str, ...]
    sign: int
    title: str
    cue: str
    drill: str
    importance: float = 1.0

    def fits(self, deviation: Deviation) -> bool:
        """Whether this name holds for a deviation."""
        return (
            deviation.quantity == self.quantity
            and deviation.phase in self.phases
            and deviation.value * self.sign > 0
        )


_BACK = ("take-back", "end of take-back", "drop")
_SET = ("end of take-back", "drop")
_LOAD = ("end of take-back", "drop", "forward swing")
_HIT = ("contact",)
_AROUND = ("forward swing", "contact")

PHRASES: tuple[Phrase, ...] = (
    Phrase(
        "hand_in_front", _HIT, -1, "Contact is late",
        "Meet the ball ahead of the front hip.",
        "Drop ten balls yourself with the front foot on a line; meet each one beyond the line.", 1.6,
    ),
    Phrase(
        "hand_in_front", _HIT, +1, "Contact is too far in front",
        "Let the ball come into your strike zone.",
        "A partner calls 'now' as the ball starts to fall after the bounce; swing only then, twenty balls.", 1.4,
    ),
    Phrase(
        "hand_aside", _HIT, -1, "Contact is cramped",
        "Move your feet away from the ball and give the arm room.",
        "Swing without a ball beside a fence, an arm and half a racket away; then hit with the same gap.", 1.4,
    ),
    Phrase(
        "hand_aside", _HIT, +1, "Reaching for the ball",
        "Take one more small step to the ball before you swing.",
        "Balls tossed to the side: two small steps before every hit, three sets of ten.", 1.4,
    ),
    Phrase(
        "hand_height", _HIT, -1, "Contact is low",
        "Take the ball between hip and shoulder; bend the knees for the low ones.",
        "Let no fed ball drop below the hip; step up to it to keep the height.", 1.1,
    ),
    Phrase(
        "hand_height", _HIT, +1, "Contact is high",
        "Step back or take it earlier so that you strike between hip and shoulder.",
        "Short and deep balls in turn: take the step that puts each one between hip and shoulder.", 1.1,
    ),
    Phrase(
        "hitting_elbow_flexion", _HIT, -1, "The hitting arm is stiff at contact",
        "Keep a soft bend in the elbow through the ball.",
        "Hit gentle forehands from the service line and watch the elbow: a little bent until the ball is gone.", 1.1,
    ),
    Phrase(
        "hitting_elbow_flexion", _HIT, +1, "The elbow is tucked in at contact",
        "Let the arm lengthen towards the ball.",
        "Slow swings to a ball held out by a partner; stop at contact and check the bend.", 1.1,
    ),
    Phrase(
        "outside_knee_flexion", _LOAD, -1, "The outside leg stays too straight",
        "Sit into the leg on the hitting side as the racket goes back.",
        "Before each fed ball hold the bend for two counts; then push up out of it as you swing.", 1.3,
    ),
    Phrase(
        "hip_drop", _LOAD, -1, "The hips stay high",
        "Get down with the legs, not by bending the back.",
        "Swing without a ball with a chair behind you: sink towards it as the racket goes back.", 1.3,
    ),
    Phrase(
        "inside_knee_flexion", _LOAD, -1, "The front leg stays too straight",
        "Keep both knees soft until after contact.",
        "Rally from the service line and stay as low as you were when you turned.", 1.0,
    ),
    Phrase(
        "outside_knee_flexion", _LOAD, +1, "The outside leg bends very far",
        "Bend less, so that you can push up quickly.",
        "Swing without a ball, a little taller each time, until you come up through the hit with ease.", 0.8,
    ),
    Phrase(
        "hip_drop", _LOAD, +1, "The hips are very low",
        "Stay tall enough to turn freely.",
        "Swing without a ball at an even rhythm; let the hips rise through contact.", 0.8,
    ),
    Phrase(
        "base_width", _SET, -1, "The feet are too close together",
        "Set the feet wider than the shoulders before you swing.",
        "Lay two markers a racket and a half apart and hit every ball standing on them.", 1.2,
    ),
    Phrase(
        "base_width", _SET, +1, "The feet are very far apart",
        "Bring the feet under you so that the hips can turn.",
        "Swing without a ball and step back at once; if the first step is slow, the feet were too wide.", 0.8,
    ),
    Phrase(
        "shoulder_turn", _BACK, -1, "Too little shoulder turn",
        "Turn until the front shoulder points at the ball.",
        "Catch a ball with both hands beside the back hip, shoulders turned; then hit the next one.", 1.3,
    ),
    Phrase(
        "shoulder_turn", _BACK, +1, "The shoulders turn very far",
        "Stop the turn when the front shoulder points at the ball.",
        "Short swings against quick balls; the hand stays on the hitting side of the body.", 0.9,
    ),
    Phrase(
        "separation", _BACK, -1, "Shoulders and hips turn as one block",
        "Turn the shoulders further than the hips.",
        "Hold the turn, then toss a tennis ball sideways with both hands: the hips go first.", 1.1,
    ),
    Phrase(
        "separation", _BACK, +1, "The shoulders turn much further than the hips",
        "Let the hips turn back together with the shoulders.",
        "Turn without a ball: swivel the back foot and turn hips and shoulders in one move.", 0.9,
    ),
    Phrase(
        "hip_turn", _HIT, +1, "The hips are late",
        "Start the forward swing from the back hip.",
        "Swing without a ball: hips to the net, pause, then the racket; slowly take the pause out.", 1.1,
    ),
    Phrase(
        "hip_turn", _HIT, -1, "The hips open early",
        "Hold the hips a moment longer; let the racket come with them.",
        "Finish with the back heel up and the hips facing the net, not past it.", 1.0,
    ),
    Phrase(
        "shoulder_turn", _HIT, +1, "The shoulders stay turned at contact",
        "Turn the chest through to the ball.",
        "Swing without a ball and finish with the hitting shoulder pointing at the target.", 1.0,
    ),
    Phrase(
        "shoulder_turn", _HIT, -1, "The chest opens too early",
        "Keep the chest to the side until the racket comes.",
        "Leave the other hand across the body until the forward swing has begun.", 1.0,
    ),
    Phrase(
        "hand_height", _BACK, +1, "The take-back hand is high",
        "Take the hand back between hip and shoulder.",
        "Swing without a ball beside a mark at chest height; the hand passes under it every time.", 1.0,
    ),
    Phrase(
        "hand_height", _BACK, -1, "The take-back hand is low",
        "Let the hand go back at chest height, then drop.",
        "Swing without a ball beside a mark at chest height; the hand passes it on the way back.", 0.9,
    ),
    Phrase(
        "hand_in_front", _SET, -1, "The take-back goes far behind the body",
        "Stop the hand beside you, not behind you.",
        "Swing slowly with your back near a fence; the racket must not touch it.", 1.0,
    ),
    Phrase(
        "hand_in_front", _SET, +1, "The take-back is short",
        "Give the racket room to gather speed.",
        "Slow fed balls: finish the turn before the bounce, every time.", 0.9,
    ),
    Phrase(
        "off_elbow_flexion", _BACK, +1, "The other arm stays bent in the turn",
        "Stretch the arm without the racket across your body as you turn.",
        "Point across at the ball with the free hand until the forward swing begins.", 0.9,
    ),
    Phrase(
        "off_arm_raise", _BACK, -1, "The other arm hangs",
        "Lift the arm without the racket across your body as you turn.",
        "Point across at the ball with the free hand until the forward swing begins.", 0.9,
    ),
    Phrase(
        "trunk_forward_lean", _AROUND, -1, "Falling back through the stroke",
        "Stay over the front foot through contact.",
        "Walk on after every ball: the back foot takes a step towards the net.", 1.3,
    ),
    Phrase(
        "trunk_forward_lean", _AROUND, +1, "Leaning in over the ball",
        "Keep the back straight; get down with the knees.",
        "Rally with the chin level from the turn to the finish.", 1.0,
    ),
    Phrase(
        "trunk_side_lean", _AROUND, -1, "Leaning away from the ball",
        "Keep the head over the feet through contact.",
        "Keep the head still until the ball has crossed the net, twenty balls.", 1.0,
    ),
    Phrase(
        "trunk_side_lean", _AROUND, +1, "Leaning over to the hitting side",
        "Bend the outside knee instead of the waist.",
        "Low balls: bend the knees to each one and keep the shoulders level.", 1.0,
    ),
    Phrase(
        "hand_height", ("follow-through",), -1, "The finish is low or cut short",
        "Swing on up until the hand is over the opposite shoulder.",
        "Hold every finish for two counts: elbow up, racket over the shoulder.", 1.2,
    ),
    Phrase(
        "hand_height", ("follow-through",), +1, "The finish is very high",
        "Let the racket come across as well as up.",
        "Aim at a target beyond the service line; lower the finish until the balls land near it.", 0.8,
    ),
    Phrase(
        "hitting_arm_raise", ("follow-through",), -1, "The elbow stays down in the finish",
        "Finish with the elbow at chin height.",
        "Hold every finish for two counts and look at your own elbow.", 1.0,
    ),
    Phrase(
        "duration", ("drop",), +1, "The swing pauses after the take-back",
        "Let the racket fall and go forward in one flow.",
        "Swing without a ball in one count, from the end of the take-back to the finish.", 0.7,
    ),
    Phrase(
        "duration", ("forward swing",), +1, "The forward swing starts early and slow",
        "Wait, then swing fast.",
        "Say 'bounce' and 'hit'; the swing starts between the two words, not before.", 0.7,
    ),
    Phrase(
        "duration", ("take-back", "preparation"), -1, "The preparation is rushed",
        "Turn as soon as you see which side the ball comes to.",
        "A partner feeds to either side: be turned before the ball crosses the net.", 0.7,
    ),
)  # fmt: skip

#: What is said of a quantity that is as good as the model's, by quantity and column.
PRAISE: dict[tuple[str, str], str] = {
    ("hand_in_front", "contact"): "Contact well in front",
    ("hand_aside", "contact"): "Good distance from the ball",
    ("hand_height", "contact"): "Contact at a good height",
    ("outside_knee_flexion", "drop"): "The outside leg bends well",
    ("hip_drop", "drop"): "You get down with the legs",
    ("base_width", "drop"): "The feet are well apart",
    ("shoulder_turn", "end of take-back"): "A full shoulder turn",
    ("separation", "end of take-back"): "Hips and shoulders work together",
    ("hand_height", "end of take-back"): "The take-back hand is at a good height",
    ("off_arm_raise", "take-back"): "The other arm is used well",
    ("trunk_forward_lean", "contact"): "Well balanced at contact",
    ("hitting_elbow_flexion", "contact"): "A relaxed arm at contact",
    ("hand_height", "follow-through"): "A full finish",
}


def name_of(deviation: Deviation) -> Phrase | None:
    """The first phrase that fits, or None for a deviation that has no name."""
    return next((phrase for phrase in PHRASES if phrase.fits(deviation)), None)
