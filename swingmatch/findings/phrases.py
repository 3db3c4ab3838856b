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
        "Meet the ball in front of the front hip.",
        "Drop-feed ten balls with the front foot on a line; catch each with the racket face beyond the line.", 1.6,
    ),
    Phrase(
        "hand_in_front", _HIT, +1, "Contact is too far in front",
        "Let the ball come into your strike zone.",
        "Have a partner call 'now' as the ball drops off its peak; swing only then, twenty balls.", 1.4,
    ),
    Phrase(
        "hand_aside", _HIT, -1, "Contact is cramped",
        "Move your feet away from the ball and give the arm room.",
        "Shadow the swing beside a fence an arm and half a racket away, then hit with the same gap.", 1.4,
    ),
    Phrase(
        "hand_aside", _HIT, +1, "Reaching for the ball",
        "One more small step to the ball before you swing.",
        "Ball tossed to the side: two adjusting steps before every hit, three sets of ten.", 1.4,
    ),
    Phrase(
        "hand_height", _HIT, -1, "Contact is low",
        "Take the ball between hip and shoulder; bend the knees for the low ones.",
        "Feed to hip height and let no ball drop below it; move up to keep the height.", 1.1,
    ),
    Phrase(
        "hand_height", _HIT, +1, "Contact is high",
        "Step back or take it earlier so that you strike between hip and shoulder.",
        "Alternate feeds short and deep; choose the step that puts each ball at chest height.", 1.1,
    ),
    Phrase(
        "hitting_elbow_flexion", _HIT, -1, "The hitting arm is stiff at contact",
        "Keep a soft bend in the elbow through the ball.",
        "Hit mini-court forehands with a headcover tucked under the arm until the forward swing.", 1.1,
    ),
    Phrase(
        "hitting_elbow_flexion", _HIT, +1, "The elbow is tucked in at contact",
        "Let the arm lengthen towards the ball.",
        "Slow swings to a ball on a cone at arm's length; stop at contact and check the bend.", 1.1,
    ),
    Phrase(
        "outside_knee_flexion", _LOAD, -1, "The outside leg does not load",
        "Sit into the outside leg as the racket goes back.",
        "Hold the loaded position for two counts before each fed ball; then drive up out of it.", 1.3,
    ),
    Phrase(
        "hip_drop", _LOAD, -1, "The hips stay high",
        "Get down with the legs, not with the back.",
        "Shadow swings with a chair behind you: touch it lightly as you finish the take-back.", 1.3,
    ),
    Phrase(
        "inside_knee_flexion", _LOAD, -1, "The front leg is straight",
        "Keep both knees soft until after contact.",
        "Rally from the service line with knees bent below a string held at hip height.", 1.0,
    ),
    Phrase(
        "outside_knee_flexion", _LOAD, +1, "Sitting very deep on the outside leg",
        "Load, but stay able to push up and through.",
        "Split step, load, and jump to the finish: keep only as much bend as you can jump from.", 0.8,
    ),
    Phrase(
        "hip_drop", _LOAD, +1, "The hips are very low",
        "Stay tall enough to turn freely.",
        "Shadow swings with an even rhythm; let the hips rise through contact.", 0.8,
    ),
    Phrase(
        "base_width", _SET, -1, "The base is narrow",
        "Feet wider than the shoulders before you swing.",
        "Lay two markers a racket and a half apart and hit every ball standing on them.", 1.2,
    ),
    Phrase(
        "base_width", _SET, +1, "The base is very wide",
        "Bring the feet under you so that the hips can turn.",
        "Shadow: set, turn and recover in three counts; the recovery step shows if you were too wide.", 0.8,
    ),
    Phrase(
        "shoulder_turn", _BACK, -1, "Too little shoulder turn",
        "Turn until the off shoulder points at the ball.",
        "Catch a fed ball with both hands beside the back hip, shoulders turned; then hit the next.", 1.3,
    ),
    Phrase(
        "shoulder_turn", _BACK, +1, "The shoulders turn very far",
        "Stop the turn when the off shoulder points at the ball.",
        "Compact swings against quick feeds; the hand stays on your own side of the body.", 0.9,
    ),
    Phrase(
        "separation", _BACK, -1, "Shoulders and hips turn as one block",
        "Let the hips begin and the shoulders follow.",
        "Medicine-ball side throws, light, from a held turn: feel the hips go first.", 1.1,
    ),
    Phrase(
        "separation", _BACK, +1, "The shoulders are torn far away from the hips",
        "Turn the hips back together with the shoulders.",
        "Unit-turn steps: pivot the outside foot and turn hips and shoulders in one move.", 0.9,
    ),
    Phrase(
        "hip_turn", _HIT, +1, "The hips are late",
        "Start the forward swing from the outside hip.",
        "Shadow: hips first to the net, pause, then the racket; speed it up without losing the order.", 1.1,
    ),
    Phrase(
        "hip_turn", _HIT, -1, "The hips open early",
        "Hold the hips a moment longer; let the racket come with them.",
        "Hit from a neutral stance and finish with the back heel up, the hips facing the net, not past it.", 1.0,
    ),
    Phrase(
        "shoulder_turn", _HIT, +1, "The shoulders stay turned at contact",
        "Turn the chest through to the ball.",
        "Finish each shadow swing with the hitting shoulder pointing at the target.", 1.0,
    ),
    Phrase(
        "shoulder_turn", _HIT, -1, "The chest opens too early",
        "Keep the chest to the side until the racket comes.",
        "Leave the off hand across the body until the forward swing has begun.", 1.0,
    ),
    Phrase(
        "hand_height", _BACK, +1, "The take-back hand is high",
        "Take the hand back between hip and shoulder.",
        "Shadow beside a fence with a mark at chest height; the hand passes under it every time.", 1.0,
    ),
    Phrase(
        "hand_height", _BACK, -1, "The take-back hand is low",
        "Let the hand go back at chest height, then drop.",
        "Shadow with the elbow resting on a ledge at rib height before the drop.", 0.9,
    ),
    Phrase(
        "hand_in_front", _SET, -1, "The take-back goes far behind the body",
        "Stop the hand beside you, not behind you.",
        "Swing with your back near a fence; the racket must not touch it.", 1.0,
    ),
    Phrase(
        "hand_in_front", _SET, +1, "The take-back is short",
        "Give the racket room to gather speed.",
        "Slow fed balls: finish the turn before the bounce, every time.", 0.9,
    ),
    Phrase(
        "off_elbow_flexion", _BACK, +1, "The off arm is not used in the turn",
        "Stretch the off arm across, parallel to the baseline.",
        "Point at the incoming ball with the off hand until the forward swing begins.", 0.9,
    ),
    Phrase(
        "off_arm_raise", _BACK, -1, "The off arm hangs",
        "Lift the off arm across the body as you turn.",
        "Point at the incoming ball with the off hand until the forward swing begins.", 0.9,
    ),
    Phrase(
        "trunk_forward_lean", _AROUND, -1, "Falling back through the stroke",
        "Stay over the front foot through contact.",
        "Hit and step in: the back foot lands ahead of the front one after every ball.", 1.3,
    ),
    Phrase(
        "trunk_forward_lean", _AROUND, +1, "Leaning in over the ball",
        "Keep the back straight; get down with the knees.",
        "Rally with a ball cap's peak level with the top of the net through contact.", 1.0,
    ),
    Phrase(
        "trunk_side_lean", _AROUND, -1, "Leaning away from the ball",
        "Keep the head over the base through contact.",
        "Count 'hit' with the head still until the ball crosses the net.", 1.0,
    ),
    Phrase(
        "trunk_side_lean", _AROUND, +1, "Leaning over to the hitting side",
        "Bend the outside knee instead of the waist.",
        "Low feeds: touch the knee with the off hand before each swing, back upright.", 1.0,
    ),
    Phrase(
        "hand_height", ("follow-through",), -1, "The finish is low or cut short",
        "Swing on up until the hand is over the opposite shoulder.",
        "Freeze every finish for two counts: elbow up, racket behind the neck.", 1.2,
    ),
    Phrase(
        "hand_height", ("follow-through",), +1, "The finish is very high",
        "Let the racket come across as well as up.",
        "Aim fed balls at a target beyond the service line; lower the finish until the depth holds.", 0.8,
    ),
    Phrase(
        "hitting_arm_raise", ("follow-through",), -1, "The elbow stays down in the finish",
        "Finish with the elbow at chin height.",
        "Freeze every finish for two counts and look at your own elbow.", 1.0,
    ),
    Phrase(
        "duration", ("drop", "forward swing"), +1, "The forward swing starts early and slow",
        "Wait, then swing fast.",
        "Say 'bounce' and 'hit'; the swing starts between the two words, not before.", 0.7,
    ),
    Phrase(
        "duration", ("take-back", "preparation"), -1, "The preparation is rushed",
        "Turn as soon as you see the side.",
        "Partner calls 'forehand' at the feed: be turned before the ball crosses the net.", 0.7,
    ),
)  # fmt: skip

#: What is said of a quantity that is as good as the model's, by quantity and column.
PRAISE: dict[tuple[str, str], str] = {
    ("hand_in_front", "contact"): "Contact well in front",
    ("hand_aside", "contact"): "Good distance from the ball",
    ("hand_height", "contact"): "Contact at a good height",
    ("outside_knee_flexion", "drop"): "The outside leg loads well",
    ("hip_drop", "drop"): "Gets down with the legs",
    ("base_width", "drop"): "A good wide base",
    ("shoulder_turn", "end of take-back"): "A full shoulder turn",
    ("separation", "end of take-back"): "Hips and shoulders work together",
    ("hand_height", "end of take-back"): "The take-back hand is at a good height",
    ("off_arm_raise", "take-back"): "The off arm is used well",
    ("trunk_forward_lean", "contact"): "Balanced over the base at contact",
    ("hitting_elbow_flexion", "contact"): "A relaxed arm at contact",
    ("hand_height", "follow-through"): "A full finish",
}


def name_of(deviation: Deviation) -> Phrase | None:
    """The first phrase that fits, or None for a deviation that has no name."""
    return next((phrase for phrase in PHRASES if phrase.fits(deviation)), None)
