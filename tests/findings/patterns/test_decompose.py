"""The posterior: against summing over all there is, and the laws that it must keep."""

from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from made import CATALOGUE, FAULTS, KEYS, LEGS, deviation, evidence, vector
from scipy.stats import norm

from swingmatch.findings.patterns.causes import flat
from swingmatch.findings.patterns.decompose import posterior
from swingmatch.findings.patterns.find import find_patterns
from swingmatch.findings.patterns.gibbs import MEAN, WIDE, WORTH, sweep
from swingmatch.findings.patterns.noise import Noise, Side, read_noise, seen, write_noise

NOTHING = Noise()


def by_summing(gram, h, logit, step=0.05, top=4.0):
    """Probability of each signature, of its being worth a word, and its mean size, by sums over a grid."""
    count = len(h)
    grid = np.arange(step / 2, top, step)
    prior = norm.pdf(grid, MEAN, WIDE)
    prior /= prior.sum()
    p = 1.0 / (1.0 + np.exp(-logit))
    total, out = 0.0, np.zeros((3, count))
    for there in itertools.product((False, True), repeat=count):
        rows = [k for k in range(count) if there[k]]
        weight = np.prod(np.where(there, p, 1.0 - p))
        if not rows:
            total += weight
            continue
        a = np.stack(np.meshgrid(*[grid] * len(rows), indexing="ij"), -1).reshape(-1, len(rows))
        w = np.stack(np.meshgrid(*[prior] * len(rows), indexing="ij"), -1).reshape(-1, len(rows)).prod(axis=1)
        log = a @ h[rows] - 0.5 * np.einsum("ni,ij,nj->n", a, gram[np.ix_(rows, rows)], a)
        mass = weight * w * np.exp(log)
        total += mass.sum()
        for place, k in enumerate(rows):
            out[0, k] += mass.sum()
            out[1, k] += mass[a[:, place] >= WORTH].sum()
            out[2, k] += (mass * a[:, place]).sum()
    return out / total


@pytest.mark.parametrize("seed", range(6))
def test_sampling_gives_what_summing_over_all_gives(seed):
    rng = np.random.default_rng(seed)
    g = 0.6 * rng.normal(size=(15, 3))
    g[:, 1] = g[:, 0] + 0.3 * rng.normal(size=15)  # two that look alike
    y = g[:, seed % 3] * rng.uniform(0.5, 1.5) + rng.normal(size=15)
    gram, h, logit = g.T @ g, g.T @ y, np.full(3, -1.5)
    found = sweep(gram, h, logit, np.zeros(3), 20_000, 100, np.random.default_rng(1))
    np.testing.assert_allclose(found[:3], by_summing(gram, h, logit), atol=0.02)


def test_look_alikes_change_places_from_any_start():
    g = np.zeros((12, 2))
    g[:, 0] = 2.0
    g[:, 1] = 2.0
    g[:2, 1] = 1.0
    y = g[:, 0] * 1.0
    gram, h, logit = g.T @ g, g.T @ y, np.full(2, -3.0)
    ends = [
        sweep(gram, h, logit, np.array(start), 4000, 50, np.random.default_rng(2))[0]
        for start in ([0.0, 0.0], [1.0, 0.0], [0.0, 1.0])
    ]
    for end in ends:
        np.testing.assert_allclose(end, by_summing(gram, h, logit)[0], atol=0.03)


def worth(deviations, noise=NOTHING, azimuth=90.0, faults=FAULTS):
    found = posterior(seen(deviations, noise, azimuth), faults)
    return {one.fault.id: one for one in found}


@pytest.mark.parametrize("name", ["legs", "arm", "hips", "like_legs"])
@pytest.mark.parametrize("size", [0.8, 1.0, 1.5])
def test_a_planted_signature_is_found_with_its_size_and_nothing_else(name, size):
    found = worth(vector({name: size}))
    assert found[name].worth > 0.9
    assert found[name].size == pytest.approx(size, abs=0.3)
    assert abs(found[name].size - size) < 3 * found[name].size_sd
    assert all(one.worth < 0.3 for other, one in found.items() if other != name)


@pytest.mark.parametrize("names", list(itertools.combinations(["legs", "arm", "hips"], 2)))
def test_two_at_once_are_both_found(names):
    found = worth(vector(dict.fromkeys(names, 1.0)))
    assert {name for name, one in found.items() if one.worth > 0.8} == set(names)


def test_no_deviation_no_fault():
    assert all(one.worth < 0.1 for one in worth(vector({})).values())
    assert find_patterns(evidence(vector({})), CATALOGUE, NOTHING) == ()
    assert find_patterns(evidence(()), CATALOGUE, NOTHING) == ()
    assert posterior(seen(vector({}), NOTHING, 0.0), ()) == ()


def test_the_other_way_round_is_no_fault():
    backwards = [replace(d, player=-d.player) for d in vector({"legs": 1.0})]
    assert worth(backwards)["legs"].worth < 0.05


def test_what_the_view_does_not_show_is_never_said():
    hidden = [replace(d, visible=False) for d in vector({"legs": 1.0})]
    assert all(one.worth == 0.0 for one in worth(hidden).values())
    only_hip = [d for d in vector({"legs": 1.0}) if d.quantity == "hip"]
    assert worth(only_hip)["legs"].there == 0.0


@settings(max_examples=6, deadline=None)
@given(st.permutations(range(len(KEYS))), st.sampled_from(["legs", "arm", "like_legs"]))
def test_the_order_of_deviations_and_faults_does_not_matter(order, name):
    rows = vector({name: 1.0})
    plain = worth(rows)
    assert worth([rows[i] for i in order]) == plain
    assert worth(rows, faults=FAULTS[::-1]) == plain


@settings(max_examples=6, deadline=None)
@given(st.floats(0.01, 100.0), st.sampled_from(["legs", "arm", "hips"]))
def test_the_unit_does_not_matter(scale, name):
    plain = worth(vector({name: 0.7}))
    scaled = worth(vector({name: 0.7}, floor=scale))
    for key, one in plain.items():
        assert scaled[key].worth == pytest.approx(one.worth, abs=0.02)


@settings(max_examples=6, deadline=None)
@given(st.lists(st.floats(-50.0, 50.0), min_size=1, max_size=6))
def test_invisible_deviations_change_nothing(values):
    rows = vector({"legs": 1.0})
    more = [deviation(f"unseen@{i}", value, visible=False) for i, value in enumerate(values)]
    assert worth([*more, *rows]) == worth(rows)


def test_more_doubt_is_never_more_sure():
    sure = [worth(vector({"legs": 1.0}, doubt=doubt))["legs"].worth for doubt in (0.2, 1.0, 2.0, 4.0, 8.0)]
    assert all(a >= b - 0.01 for a, b in itertools.pairwise(sure))
    assert sure[0] > 0.9
    assert sure[-1] < 0.5


def test_the_same_input_gives_the_same_output():
    rows = vector({"legs": 0.6, "arm": 0.5})
    assert worth(rows) == worth(rows)


def made_noise():
    count = len(KEYS)
    correlation = np.full((count, count), 0.5) + 0.5 * np.eye(count)
    side = Side(np.zeros(count), np.full(count, 1.2), correlation, np.full(count, 0.4))
    return Noise(KEYS, (1.0,) * count, {"right side": side, "": side}, 3, (0.8, -0.1))


def test_noise_comes_back_from_its_file(tmp_path):
    noise = made_noise()
    write_noise(tmp_path / "noise.npz", noise)
    back = read_noise(tmp_path / "noise.npz")
    assert (back.keys, back.floors, back.swings, back.sure) == (
        noise.keys, noise.floors, noise.swings, noise.sure
    )  # fmt: skip
    assert list(back.sides) == list(noise.sides)
    for name, side in noise.sides.items():
        np.testing.assert_allclose(back.sides[name].correlation, side.correlation, atol=1e-3)
        np.testing.assert_allclose(back.sides[name].sd, side.sd, rtol=1e-6)


def test_a_variance_is_never_below_the_doubt():
    rows = vector({}, doubt=3.0)
    for noise in (NOTHING, made_noise()):
        assert (np.diag(seen(rows, noise, 90.0).covariance) >= 9.0).all()


def test_a_catalogue_with_other_floors_uses_the_same_noise_in_units():
    noise = made_noise()
    one = seen(vector({}, doubt=0.0), noise, 90.0).covariance
    # Floors twice as wide: the same scatter in units is half as many floors. What is added to all stays.
    wide = seen([replace(d, floor=2.0) for d in vector({}, doubt=0.0)], noise, 90.0).covariance
    off = ~np.eye(len(KEYS), dtype=bool)
    np.testing.assert_allclose(wide[off], one[off] / 4.0)


def test_fewer_swings_scatter_more():
    noise = made_noise()
    three = seen(vector({}, swings=3, doubt=0.0), noise, 90.0).covariance
    single = seen(vector({}, swings=1, doubt=0.0), noise, 90.0).covariance
    np.testing.assert_allclose(np.diag(single - three), 0.16 * (1.0 - 1.0 / 3.0))


def test_a_side_of_its_own_then_any_side():
    noise = made_noise()
    assert noise.side(92.0) is noise.sides["right side"]
    assert noise.side(-90.0) is noise.sides[""]
    assert noise.side(float("nan")) is noise.sides[""]


def test_patterns_count_their_swings_and_cite_their_evidence():
    shows, sound = vector({"legs": 1.0}, swings=1), vector({}, swings=1)
    pooled = vector({"legs": 0.8})
    (pattern,) = find_patterns(evidence(pooled, [shows, shows, shows, sound]), CATALOGUE, NOTHING)
    assert pattern.fault == LEGS
    assert (pattern.swings, pattern.of) == (3, 4)
    assert {d.quantity for d in pattern.evidence} == {"knee"}
    assert all(d.value < 0.0 for d in pattern.evidence)


def test_the_cause_is_named_and_the_symptom_under_it():
    found = find_patterns(evidence(vector({"arm": 1.0, "hips": 1.0})), CATALOGUE, NOTHING)
    assert [p.fault.id for p in found] == ["hips"]
    assert [p.fault.id for p in found[0].explains] == ["arm"]
    assert [p.fault.id for p in flat(found)] == ["hips", "arm"]
