"""The BVH reader: a hand-worked arm, SciPy's rotations, a body by other names, and files that are broken."""

import gzip

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from swingmatch.body.skeleton import INDEX
from swingmatch.errors import LibraryError
from swingmatch.library.build import AVERAGE, segment_lengths
from swingmatch.library.bvh import keypoints, parse_bvh, read_bvh, read_keypoints

ARM = """HIERARCHY
ROOT Base
{
  OFFSET 0.0 0.0 0.0
  CHANNELS 6 Xposition Yposition Zposition Zrotation Xrotation Yrotation
  JOINT Middle
  {
    OFFSET 2.0 0.0 0.0
    CHANNELS 3 Zrotation Xrotation Yrotation
    End Site
    {
      OFFSET 1.0 0.0 0.0
    }
  }
}
MOTION
Frames: 3
Frame Time: 0.01
0 0 0 0 0 0 0 0 0
1 2 3 90 0 0 0 0 0
0 0 0 90 0 0 0 90 0
"""


def test_an_arm_by_hand():
    got = parse_bvh(ARM)
    assert got.names == ("Base", "Middle", "Middle_end")
    np.testing.assert_allclose(got.times, [0, 0.01, 0.02])
    np.testing.assert_allclose(got.positions[0], [[0, 0, 0], [2, 0, 0], [3, 0, 0]])
    # a quarter turn about Z at the root lays the arm along Y
    np.testing.assert_allclose(got.positions[1], [[1, 2, 3], [1, 4, 3], [1, 5, 3]], atol=1e-12)
    # then a quarter turn about its own X leaves the tip, which lies on that X, where it is
    np.testing.assert_allclose(got.positions[2], [[0, 0, 0], [0, 2, 0], [0, 3, 0]], atol=1e-12)


def test_the_order_of_rotations_is_the_order_of_channels():
    # Z 90 then own X 90: the offset along own Y points to -X after Z alone, and to +Z after own X first.
    text = ARM.replace("OFFSET 1.0 0.0 0.0", "OFFSET 0.0 1.0 0.0").replace(
        "0 0 0 90 0 0 0 90 0", "0 0 0 90 90 0 0 0 0"
    )
    tip = parse_bvh(text).positions[2, 2] - parse_bvh(text).positions[2, 1]
    np.testing.assert_allclose(tip, [0, 0, 1], atol=1e-12)
    swapped = text.replace("Zposition Zrotation Xrotation", "Zposition Xrotation Zrotation", 1)
    tip = parse_bvh(swapped).positions[2, 2] - parse_bvh(swapped).positions[2, 1]
    np.testing.assert_allclose(tip, [-1, 0, 0], atol=1e-12)


@settings(max_examples=60, deadline=None)
@given(
    seed=st.integers(0, 2**32 - 1),
    root=st.permutations("XYZ"),
    child=st.permutations("XYZ"),
    positions_last=st.booleans(),
)
def test_any_channel_order_agrees_with_scipy(seed, root, child, positions_last):
    """SciPy's upper-case Euler sequences are turns about the moving axes, as in BVH."""
    rng = np.random.default_rng(seed)
    place, first, second = rng.normal(size=3), rng.uniform(-180, 180, 3), rng.uniform(-180, 180, 3)
    offset, tip = rng.normal(size=3), rng.normal(size=3)
    moves, turns = ["Yposition", "Zposition", "Xposition"], [f"{axis}rotation" for axis in root]
    values = {"Xposition": place[0], "Yposition": place[1], "Zposition": place[2]}
    values.update(zip(turns, first, strict=True))
    channels = turns + moves if positions_last else moves + turns
    text = f"""HIERARCHY
ROOT A {{ OFFSET 0 0 0
 CHANNELS 6 {" ".join(channels)}
 JOINT B {{ OFFSET {" ".join(map(repr, offset.tolist()))}
 CHANNELS 3 {" ".join(f"{axis}rotation" for axis in child)}
 End Site {{ OFFSET {" ".join(map(repr, tip.tolist()))} }} }} }}
MOTION
Frames: 1
Frame Time: 0.01
{" ".join(repr(float(values[name])) for name in channels)} {" ".join(map(repr, second.tolist()))}
"""
    got = parse_bvh(text).positions[0]
    outer = Rotation.from_euler("".join(root), first, degrees=True)
    inner = outer * Rotation.from_euler("".join(child), second, degrees=True)
    elbow = place + outer.apply(offset)
    np.testing.assert_allclose(got, [place, elbow, elbow + inner.apply(tip)], atol=1e-9)


PLAIN = {
    "clavicle": "Collar",
    "shoulder": "Shoulder",
    "elbow": "Elbow",
    "wrist": "Wrist",
    "hip": "Hip",
    "knee": "Knee",
}
PLAIN.update(ankle="Ankle", left="Left", right="Right")
ARMS_AND_LEGS = {
    "clavicle": "Shoulder",
    "shoulder": "Arm",
    "elbow": "ForeArm",
    "wrist": "Hand",
    "hip": "UpLeg",
}
ARMS_AND_LEGS.update(knee="Leg", ankle="Foot", left="rig:Left", right="rig:Right")
SHORT = {"clavicle": "Clav", "shoulder": "UpperArm", "elbow": "LowerArm", "wrist": "Hand", "hip": "Thigh"}
SHORT.update(knee="Calf", ankle="Foot", left="l_", right="r_")


def body(words, scale):
    """A standing body of 1.75 m with the lengths of row C1, in ``1 / scale`` metres a unit."""
    h = 1.75 * scale
    out = [f"HIERARCHY\nROOT Hips\n{{\nOFFSET 0 0 0\nCHANNELS 6 Xposition Yposition Zposition {TURN}"]

    def joint(name, x, y, z, inner):
        return f"JOINT {name}\n{{\nOFFSET {x * h} {y * h} {z * h}\nCHANNELS 3 {TURN}\n{inner}\n}}"

    def end(x, y, z):
        return f"End Site\n{{\nOFFSET {x * h} {y * h} {z * h}\n}}"

    for side, sign in (("left", 1), ("right", -1)):
        prefix = words[side]
        arm = joint(prefix + words["wrist"], 0, -0.146, 0, end(0, -0.108, 0))
        arm = joint(prefix + words["elbow"], 0, -0.186, 0, arm)
        arm = joint(prefix + words["shoulder"], sign * 0.1295, 0, 0, arm)
        out.append(joint(prefix + words["clavicle"], 0, 0.288, 0, arm))
        leg = joint(prefix + words["ankle"], 0, -0.246, 0, end(0, -0.039, 0.11))
        leg = joint(prefix + words["knee"], 0, -0.245, 0, leg)
        out.append(joint(prefix + words["hip"], sign * 0.0955, 0, 0, leg))
    channels = 6 + 2 * (4 + 3) * 3
    values = np.zeros((2, channels))
    values[:, 1] = 0.53 * h
    rows = "\n".join(" ".join(map(str, row)) for row in values)
    out.append(f"}}\nMOTION\nFrames: 2\nFrame Time: 0.008333\n{rows}\n")
    return "\n".join(out)


TURN = "Zrotation Xrotation Yrotation"


@pytest.mark.parametrize("words", [PLAIN, ARMS_AND_LEGS, SHORT])
@pytest.mark.parametrize("scale", [1, 100, 1000, 1 / 0.0254])
def test_a_body_by_any_name_in_any_unit(words, scale):
    points = keypoints(parse_bvh(body(words, scale)))
    lengths = segment_lengths(points)
    assert {n: v / 1.75 for n, v in lengths.items()} == pytest.approx(dict(AVERAGE), abs=1e-9)
    np.testing.assert_allclose(points[0, INDEX["left_ankle"]], [0.0955 * 1.75, 0.039 * 1.75, 0], atol=1e-9)
    # the middle of the knuckles lies 0.0495 of stature beyond the wrist (de Leva 1996)
    np.testing.assert_allclose(
        points[0, INDEX["right_wrist"]] - points[0, INDEX["right_hand"]], [0, 0.0495 * 1.75, 0], atol=1e-9
    )
    np.testing.assert_allclose(points[0, INDEX["right_toe"], 2], 0.11 * 1.75)
    for name in ("nose", "left_ear", "right_heel"):
        assert np.isnan(points[:, INDEX[name]]).all()


def test_a_given_unit_is_taken():
    recording = parse_bvh(body(PLAIN, 5.0))
    with pytest.raises(LibraryError, match="metres a unit"):
        keypoints(recording)
    points = keypoints(recording, metres_per_unit=0.2)
    assert segment_lengths(points)["thigh"] == pytest.approx(0.245 * 1.75)


def test_missing_joints_are_named():
    with pytest.raises(LibraryError, match=r"left elbow.*right elbow"):
        keypoints(parse_bvh(body({**PLAIN, "elbow": "Thing"}, 100)))


def test_plain_and_packed_files(tmp_path):
    text = body(PLAIN, 100)
    (tmp_path / "a.bvh").write_text(text)
    (tmp_path / "b.bvh.gz").write_bytes(gzip.compress(text.encode()))
    (tmp_path / "c.bvh").write_bytes(text.replace("\n", "\r\n").encode())
    times, points = read_keypoints(tmp_path / "a.bvh")
    np.testing.assert_allclose(times, [0, 0.008333])
    for name in ("b.bvh.gz", "c.bvh"):
        np.testing.assert_array_equal(read_keypoints(tmp_path / name)[1], points)


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("HIERARCHY", "HELLO", "not a BVH"),
        ("MOTION", "NOTION", "not a BVH"),
        ("1 2 3 90 0 0 0 0 0", "1 2 3 90 0", "Frame 2 .* has 5 numbers, but its joints have 9"),
        ("Frames: 3", "Frames: 4", "announces 4 frames and holds 3"),
        ("Frames: 3", "Frames: many", "number of frames"),
        ("Frame Time: 0.01", "Frame Time: fast", "numbers should be"),
        ("Frame Time: 0.01", "Frame Time: 0", "not above zero"),
        ("1 2 3 90", "1 2 x 90", "not a number"),
        ("1 2 3 90", "1 2 nan 90", "not a number"),
        ("CHANNELS 3", "CHANNELS 2", "Line 9"),
        ("CHANNELS 3 Z", "CHANNELS 3 W", "Line 9"),
        ("OFFSET 2.0 0.0 0.0", "OFFSET 2.0 north 0.0", "line 8"),
        ("    OFFSET 2.0 0.0 0.0\n", "", "Middle .* has no offset"),
        ("}\nMOTION", "\nMOTION", "brace"),
        ("ROOT Base", "JOINT Base", "Line 2"),
    ],
)
def test_broken_files_say_what_is_wrong(old, new, words):
    assert old in ARM
    with pytest.raises(LibraryError, match=words):
        parse_bvh(ARM.replace(old, new, 1))


def test_unreadable_files(tmp_path):
    with pytest.raises(LibraryError, match="no motion file"):
        read_bvh(tmp_path / "gone.bvh")
    packed = gzip.compress(ARM.encode())
    (tmp_path / "cut.bvh.gz").write_bytes(packed[: len(packed) // 2])
    (tmp_path / "bad.bvh.gz").write_bytes(packed[:12] + b"\0\xff" * 20)
    (tmp_path / "noise.bvh").write_bytes(np.random.default_rng(1).bytes(5000))
    for name in ("cut.bvh.gz", "bad.bvh.gz", "noise.bvh"):
        with pytest.raises(LibraryError):
            read_bvh(tmp_path / name)


@settings(max_examples=300, deadline=None)
@given(data=st.data())
def test_damage_gives_a_sentence_or_numbers_and_nothing_else(data):
    """Cut, doubled, lost and changed pieces anywhere: a LibraryError or finite positions, never another error."""
    text = body(PLAIN, 100) if data.draw(st.booleans()) else ARM
    for _ in range(data.draw(st.integers(1, 3))):
        a = data.draw(st.integers(0, len(text)))
        b = min(len(text), a + data.draw(st.integers(0, 40)))
        piece = data.draw(
            st.sampled_from(["", text[a:b] * 2, "}", "{", " 7 ", "\n", "End Site", "é\0", "1e999", "²"])
        )
        text = text[:a] + piece + text[b:]
    try:
        recording = parse_bvh(text)
        points = keypoints(recording)
    except LibraryError as error:
        assert str(error).endswith(".")  # noqa: PT017 - either outcome is right
    else:
        assert np.isfinite(recording.positions).all()
        assert points.shape[1:] == (21, 3)
