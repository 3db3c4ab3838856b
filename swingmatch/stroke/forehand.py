"""The forehand: its events, phases and measures, and how big a difference must be to say something.

The hitting arm and the outside leg are on the right in all that follows: a left-hander has been mirrored.
"""

from __future__ import annotations

import itertools

from swingmatch.stroke import style
from swingmatch.stroke.definition import At, Between, Definition, Most, Row
from swingmatch.stroke.events import forehand_events
from swingmatch.stroke.gauges import after, body, contact, forward, preparation, racket, whole
from swingmatch.stroke.kinematics import stance
from swingmatch.stroke.swing import EVENTS, PHASES

HITTING_ARM = ("hitting_shoulder", "hitting_elbow", "hitting_wrist", "hitting_hand")
OTHER_ARM = ("other_shoulder", "other_elbow", "other_wrist", "other_hand")
HANDS = ("right_hand", "left_hand")
HITTING_HAND = ("hitting_hand",)
SHOULDERS = ("left_shoulder", "right_shoulder")
HIPS = ("left_hip", "right_hip")
LINES = (*SHOULDERS, *HIPS)
OUTSIDE_LEG = ("right_hip", "right_knee", "right_ankle")
INSIDE_LEG = ("left_hip", "left_knee", "left_ankle")
FEET = ("left_heel", "left_toe", "right_heel", "right_toe")
BACK_FOOT = ("right_heel", "right_toe")
BASE = ("left_ankle", "right_ankle")
TRUNK = ("mid_hip", "mid_shoulder")
HEAD = ("nose", "left_ear", "right_ear")
COM = ("centre_of_mass",)
RACKET = ("racket",)
STRINGS = ("string_bed",)

#: The parts that turn one after the other, from the ground up: key, label, speed, keypoints.
CHAIN = (
    ("hip_turn", "hip turn", forward.hip_speed, HIPS),
    ("shoulder_turn", "shoulder turn", forward.shoulder_speed, SHOULDERS),
    ("upper_arm", "upper arm", forward.upper_arm_speed, ("hitting_shoulder", "hitting_elbow")),
    ("forearm", "forearm", forward.forearm_speed, ("hitting_elbow", "hitting_wrist")),
    ("hand", "hand", forward.hand_speed, HITTING_HAND),
)
#: A forward swing's moments are told apart to within this, ms.
_MOMENT = 40.0


#: The racket's face in the trade's words.
RACKET_WORDS = {
    "face_in_drop": racket.drop_word,
    "face_at_contact": racket.contact_word,
    "finish_face": racket.drop_word,
}


def preparation_rows() -> tuple[Row, ...]:
    """From ready to the end of the take-back."""
    part, back = "preparation", "end_of_take_back"
    return (
        Row("shoulder_turn", "Shoulder turn", part, "deg", back, At(back, body.shoulder_turn), SHOULDERS, 20.0),
        Row("hip_turn", "Hip turn", part, "deg", back, At(back, body.hip_turn), HIPS, 20.0),
        Row("separation", "Hip–shoulder separation", part, "deg", back, At(back, body.separation), LINES, 15.0),
        Row("hands_together_until", "Both hands on the racket until (before contact)", part, "ms", "hands_apart",
            preparation.hands_together_until, HANDS, 100.0),
        Row("hands_part_at", "Hands part, from the mid-line", part, "shoulder widths", "hands_apart",
            preparation.hands_part_at, (*HANDS, *SHOULDERS), 0.4),
        Row("other_arm_span", "Span of the other arm", part, "arm lengths", back,
            At(back, body.other_arm_span), OTHER_ARM, 0.2),
        Row("other_hand_height", "Height of the other hand", part, "hip-to-shoulder", back,
            At(back, body.other_hand_height), OTHER_ARM, 0.35),
        Row("preparation_time", "Turn start to end of take-back", part, "ms", f"turn_start..{back}",
            Between("turn_start", back), SHOULDERS, 120.0),
    )  # fmt: skip


def take_back_rows() -> tuple[Row, ...]:
    """How the hand goes back."""
    part, back = "take-back", "end_of_take_back"
    return (
        Row("hand_height", "Hand height, farthest back", part, "hip-to-shoulder", back,
            At(back, body.hand_height), (*HITTING_HAND, *TRUNK), 0.3),
        Row("hand_highest", "Take-back hand, highest", part, "hip-to-shoulder", f"turn_start..{back}",
            Most("turn_start", back, body.hand_height), (*HITTING_HAND, *TRUNK), 0.3),
        Row("hand_behind", "Hand behind the body", part, "arm lengths", back,
            At(back, body.hand_behind), (*HITTING_HAND, "mid_hip"), 0.2),
        Row("elbow_flexion", "Bend of the hitting elbow", part, "deg", back,
            At(back, body.elbow_flexion), HITTING_ARM, 25.0),
        Row("elbow_from_trunk", "Elbow away from the trunk", part, "arm lengths", back,
            At(back, body.elbow_from_trunk), ("hitting_elbow", *TRUNK), 0.2),
        Row("loop_size", "Size of the loop", part, "arm lengths", f"turn_start..{back}",
            preparation.loop_size, HITTING_HAND, 0.25),
    )  # fmt: skip


def load_rows() -> tuple[Row, ...]:
    """Legs and base before the forward swing."""
    part, start = "load", "forward_start"
    bent = ("turn_start", "contact")
    return (
        Row("outside_knee_flexion", "Bend of the outside knee, most", part, "deg", f"{bent[0]}..{start}",
            Most(*bent, body.knee_flexion("right")), OUTSIDE_LEG, 15.0),
        Row("inside_knee_flexion", "Bend of the inside knee, most", part, "deg", f"{bent[0]}..{start}",
            Most(*bent, body.knee_flexion("left")), INSIDE_LEG, 15.0),
        Row("base_width", "Width of the base", part, "shoulder widths", start,
            At(start, body.base_width), BASE, 0.4),
        Row("stance_angle", "Stance: foot line to the target line", part, "deg", start,
            At(start, body.stance_angle), FEET, 25.0),
        Row("weight_outside", "Weight on the outside leg", part, "", start,
            At(start, body.weight_outside), (*COM, *BASE), 0.25),
        Row("com_drop", "Drop of the centre of mass", part, "leg lengths", f"ready..{start}",
            preparation.com_drop, COM, 0.06),
    )  # fmt: skip


def drop_rows() -> tuple[Row, ...]:
    """The lowest hand and the lowest tip."""
    part, low = "drop", "lowest_hand"
    return (
        Row("lowest_hand_height", "Lowest hand", part, "hip-to-shoulder", low,
            preparation.lowest_hand_height, (*HITTING_HAND, *TRUNK), 0.3),
        Row("lowest_hand_below_contact", "Lowest hand below contact", part, "arm lengths", low,
            preparation.lowest_hand_below_contact, HITTING_HAND, 0.15),
        Row("tip_below_contact", "Lowest tip below contact", part, "arm lengths", low,
            preparation.tip_below_contact, RACKET, 0.2, racket=True),
        Row("tip_below_hand", "Lowest tip below the hand", part, "arm lengths", low,
            preparation.tip_below_hand, RACKET, 0.2, racket=True),
        Row("face_in_drop", "Racket face through the drop", part, "deg", "end_of_take_back..forward_start",
            racket.face_in_drop, RACKET, 25.0, racket=True),
    )  # fmt: skip


def forward_rows(start: str = "forward_start", wound: str = "end_of_take_back") -> tuple[Row, ...]:
    """Which part starts and peaks when, how fast, and the hand's way to the ball.

    ``start`` is the event at which the forward swing starts, ``wound`` that at which the body is wound up.
    """
    part, span, hit = "forward swing", f"{start}..contact", "contact"
    starts = {key: forward.StartTime(speed, wound) for key, _, speed, _ in CHAIN}
    peaks = {key: forward.PeakTime(speed, wound) for key, _, speed, _ in CHAIN}
    chain = [
        Row(f"{key}_{when}", f"{name[0].upper()}{name[1:]} {word} (before contact)", part, "ms", span,
            gauge, shows, _MOMENT)
        for when, word, gauges in (("start", "starts", starts), ("peak", "is fastest", peaks))
        for key, name, _, shows in CHAIN
        for gauge in [gauges[key]]
    ]  # fmt: skip
    gaps = [
        Row(f"{a[0]}_before_{b[0]}_{when}", f"{a[1]} before {b[1]}, {word}".capitalize(), part, "ms", span,
            forward.Gap(gauges[a[0]], gauges[b[0]]), (*a[3], *b[3]), _MOMENT)
        for when, word, gauges in (("start", "start", starts), ("peak", "fastest", peaks))
        for a, b in itertools.pairwise(CHAIN)
    ]  # fmt: skip
    return (
        *chain,
        *gaps,
        Row("hip_speed", "Fastest hip turn", part, "deg/s", span,
            forward.PeakSpeed(forward.hip_speed, wound), HIPS, 120.0),
        Row("shoulder_speed", "Fastest shoulder turn", part, "deg/s", span,
            forward.PeakSpeed(forward.shoulder_speed, wound), SHOULDERS, 150.0),
        Row("hand_speed", "Fastest hand", part, "statures/s", span,
            forward.PeakSpeed(forward.hand_speed, wound), HITTING_HAND, 0.8),
        Row("hand_path_angle", "Hand path low to high", part, "deg", hit, forward.hand_path_angle, HITTING_HAND, 10.0),
        Row("hand_speed_kept", "Hand speed at contact against its peak", part, "", hit,
            forward.SpeedKept(wound), HITTING_HAND, 0.12),
        Row("com_speed", "Centre of mass towards the target", part, "statures/s", hit,
            At(hit, forward.com_speed), COM, 0.2),
        *racket_forward_rows(start),
    )  # fmt: skip


def racket_forward_rows(start: str) -> tuple[Row, ...]:
    """How fast the racket's head is, and when."""
    part, span = "forward swing", f"{start}..contact"
    return (
        Row("racket_speed", "Fastest racket head", part, "statures/s", span, racket.HeadSpeed(), STRINGS, 1.5,
            racket=True),
        Row("racket_peak", "Racket head is fastest (before contact)", part, "ms", span, racket.HeadPeak(), STRINGS,
            _MOMENT, racket=True),
    )  # fmt: skip


def racket_path_rows() -> tuple[Row, ...]:
    """Where the butt cap points and how the racket goes to the ball, in a groundstroke."""
    part, start, hit = "forward swing", "forward_start", "contact"
    return (
        Row("butt_to_ball", "Butt cap points past the ball (negative: short of it)", part, "deg", start,
            racket.butt_to_ball, RACKET, 25.0, racket=True),
        Row("racket_path_angle", "Racket path low to high, last 100 ms", part, "deg", hit, racket.path_angle,
            STRINGS, 8.0, racket=True),
        Row("racket_path_contact", "Racket path low to high, into the ball", part, "deg", hit,
            racket.path_at_contact, STRINGS, 8.0, racket=True),
    )  # fmt: skip


def contact_rows() -> tuple[Row, ...]:
    """Where hand and string bed meet the ball, and how the body is under them."""
    part, hit = "contact", "contact"
    things = (
        ("hand", "Hand", contact.hand, HITTING_HAND),
        ("string_bed", "String bed", contact.string_bed, STRINGS),
    )
    references = (
        ("com", "centre of mass", contact.centre_of_mass, COM),
        ("front_hip", "front hip", contact.front_hip, ("left_hip",)),
        ("hitting_shoulder", "hitting shoulder", contact.hitting_shoulder, ("hitting_shoulder",)),
    )
    places = [
        Row(f"{a}_{where.split()[0]}_{b}" if where == "above" else f"{a}_{where.split()[-2]}_{b}",
            f"{words} {where} the {what}", part, "arm lengths", hit, contact.place(thing, where, reference),
            (*shows, *also), 0.15)
        for a, words, thing, shows in things
        for b, what, reference, also in references
        for where in ("in front of", "aside of", "above")
    ]  # fmt: skip
    return (
        Row("contact_height", "Contact height (hand)", part, "hip-to-shoulder", hit,
            contact.contact_height, (*HITTING_HAND, *TRUNK), 0.25),
        Row("string_bed_height", "Contact height (string bed)", part, "hip-to-shoulder", hit,
            contact.string_bed_height, (*STRINGS, *TRUNK), 0.25),
        *places,
        Row("face_at_contact", "Racket face", part, "deg", hit, At(hit, racket.face_angle), RACKET, 15.0, racket=True),
        Row("string_bed_from_com", "String bed away from the centre of mass", part, "arm lengths", hit,
            racket.strings_from_com, (*STRINGS, *COM), 0.15, racket=True),
        Row("struck_along", "Ball on the strings, towards the tip", part, "", hit, racket.struck_along, STRINGS, 0.4,
            racket=True, ball=True),
        Row("struck_across", "Ball on the strings, towards the upper edge", part, "", hit, racket.struck_across,
            STRINGS, 0.4, racket=True, ball=True),
        Row("contact_elbow_flexion", "Bend of the hitting elbow", part, "deg", hit,
            At(hit, body.elbow_flexion), HITTING_ARM, 20.0),
        Row("contact_wrist_extension", "Wrist extension", part, "deg", hit,
            At(hit, body.wrist_extension), HITTING_ARM, 20.0),
        Row("contact_hip_turn", "Hip line to the target", part, "deg", hit, At(hit, body.hip_turn), HIPS, 15.0),
        Row("contact_shoulder_turn", "Shoulder line to the target", part, "deg", hit,
            At(hit, body.shoulder_turn), SHOULDERS, 15.0),
        Row("contact_separation", "Shoulder line to the hip line", part, "deg", hit,
            At(hit, body.separation), LINES, 15.0),
        Row("head_speed", "Movement of the head around contact", part, "statures/s", hit,
            contact.head_speed, HEAD, 0.2),
        Row("head_over_base", "Head inside the base", part, "shoulder widths", hit,
            contact.head_over_base, (*HEAD, *FEET), 0.3),
        Row("contact_front_knee_flexion", "Bend of the front knee", part, "deg", hit,
            At(hit, body.knee_flexion("left")), INSIDE_LEG, 15.0),
        Row("feet_height", "Feet off the ground", part, "statures", hit, contact.feet_height, FEET, 0.03),
    )  # fmt: skip


def after_rows() -> tuple[Row, ...]:
    """The finish, the back foot, balance and recovery."""
    part, end = "after", "end_of_follow_through"
    span, home = f"contact..{end}", "contact..recovery"
    return (
        Row("pronation", "Forearm pronation", part, "deg", span, racket.pronation, RACKET, 25.0, racket=True),
        Row("finish_face", "Racket face at the finish", part, "deg", end, At(end, racket.face_angle), RACKET, 30.0,
            racket=True),
        Row("finish_height", "Finish height", part, "hip-to-shoulder", end,
            At(end, body.hand_height), (*HITTING_HAND, *TRUNK), 0.35),
        Row("finish_across", "Finish across the body", part, "arm lengths", end,
            At(end, body.hand_across), HITTING_HAND, 0.25),
        Row("finish_shoulder_turn", "Hitting shoulder to the target (negative: past square)", part, "deg", end,
            At(end, body.shoulder_turn), SHOULDERS, 25.0),
        Row("finish_shoulder_tilt", "Shoulder over shoulder", part, "deg", end,
            At(end, body.shoulder_tilt), SHOULDERS, 12.0),
        Row("trunk_forward_lean", "Trunk lean to the target", part, "deg", "contact",
            At("contact", body.trunk_forward_lean), TRUNK, 10.0),
        Row("trunk_side_lean", "Trunk lean to the ball's side", part, "deg", "contact",
            At("contact", body.trunk_side_lean), TRUNK, 10.0),
        Row("back_foot_way", "Back foot comes round", part, "shoulder widths", home,
            after.back_foot_way, BACK_FOOT, 0.4),
        Row("back_foot_time", "Back foot half way round (after contact)", part, "ms", home,
            after.back_foot_time, BACK_FOOT, 100.0),
        Row("com_inside_base", "Centre of mass inside the base (drive) or out (rescue)", part, "shoulder widths", span,
            after.com_inside_base, (*COM, *FEET), 0.3),
        Row("time_to_balance", "Time to balance (after contact)", part, "ms", home, after.time_to_balance, COM, 150.0),
        Row("recovery_step", "Recovery step", part, "statures", home, after.recovery_step, ("mid_hip",), 0.1),
    )  # fmt: skip


def grip_rows() -> tuple[Row, ...]:
    """The grip, as a guess."""
    return (
        Row("grip", "Grip (a suggestion: ask the player)", "whole swing", "deg", "contact", racket.grip,
            (*RACKET, *HITTING_ARM), 45.0, racket=True),
    )  # fmt: skip


def duration_rows(phases: tuple[tuple[str, str, str], ...]) -> tuple[Row, ...]:
    """How long each phase takes."""
    return tuple(
        Row(f"{name.replace(' ', '_').replace('-', '_')}_duration", f"{name[0].upper()}{name[1:]} takes",
            "whole swing", "ms", f"{first}..{last}", Between(first, last), HITTING_HAND, 100.0)
        for name, first, last in phases
    )  # fmt: skip


def whole_rows(start: str = "forward_start") -> tuple[Row, ...]:
    """The swing as a whole; ``start`` is the event at which the forward swing starts."""
    part, span = "whole swing", f"{start}..contact"
    return (
        Row("tempo", "Tempo: preparation over forward swing", part, "", "turn_start..contact",
            whole.tempo, HITTING_HAND, 1.0),
        Row("head_movement", "Head movement", part, "statures", span, whole.HeadMovement(start), HEAD, 0.05),
        Row("smoothness", "Smoothness of the hand", part, "", f"{start}..end_of_follow_through",
            forward.Smoothness(start), HITTING_HAND, 1.0),
    )  # fmt: skip


FOREHAND = Definition(
    name="forehand",
    events=EVENTS,
    phases=PHASES,
    instants=(("end of take-back", "end_of_take_back"), ("contact", "contact")),
    find_events=forehand_events,
    measures=(
        *preparation_rows(),
        *take_back_rows(),
        *load_rows(),
        *drop_rows(),
        *forward_rows(),
        *racket_path_rows(),
        *contact_rows(),
        *after_rows(),
        *duration_rows(PHASES),
        *whole_rows(),
        *grip_rows(),
    ),
    words={"stance_angle": stance, **RACKET_WORDS},
    suggests={"grip": racket.grip_words},
    style=style.GROUNDSTROKE,
    teaching=style.GROUNDSTROKE_TEACHES,
)
