import numpy as np
import pytest
from scipy import stats

from panel.stats.assessors.scaling import profile_exchange

ROUNDING = 1e-9  # sums of a few hundred numbers of size 1 to 100, in another order


def scores(seed=0, shape=(6, 3, 5, 7), spread=3.0, missing=0.0):
    rng = np.random.default_rng(seed)
    truth = rng.normal(0, spread, (1, 1, *shape[2:]))
    made = truth + rng.normal(0, 1, (shape[0], 1, *shape[2:])) + rng.normal(0, 1, shape)
    made[rng.random(shape) < missing] = np.nan
    return made


def by_hand(data, person, repeat, first, second):
    """Compute chance and gain of one pair with loops and scipy.stats, for complete data."""
    persons, repeats, objects, variables = data.shape
    noise = np.empty(data.shape)
    for a in range(persons):
        for r in range(repeats):
            rest = np.mean([data[a, other] for other in range(repeats) if other != r], axis=0)
            difference = data[a, r] - rest
            noise[a, r] = (difference - difference.mean(axis=0)) * np.sqrt((repeats - 1) / repeats)
    freedom = (repeats - 1) * (objects - 1)
    # each repeat's disagreement has expectation (1 - 1/objects) of the variance, so objects - 1 counts per repeat
    squares = (noise**2).sum(axis=(1, 2)) / (repeats * (objects - 1))
    expected_freedom = repeats * (objects - 1) * (objects - 1) / objects
    assert freedom <= expected_freedom
    spread = np.sqrt(np.median(squares / (1 - 2 / (9 * freedom_used(repeats, objects))) ** 3, axis=0))
    noise = noise / spread
    rows = np.concatenate([noise[a].reshape(-1, variables) for a in range(persons) if a != person])
    products = rows.T @ rows
    correlation = products / np.sqrt(np.outer(np.diag(products), np.diag(products)))
    rest = np.mean([data[person, other] for other in range(repeats) if other != repeat], axis=0)
    x = (data[person, repeat, first] - data[person, repeat, second]) / spread
    y = (rest[first] - rest[second]) / spread
    outside = [p for p in range(objects) if p not in (first, second)]
    own = (noise[person, repeat, outside] ** 2).sum() / (variables * (objects - 3))
    df = variables * (objects - 3) * variables / (correlation**2).sum()
    t = x @ y / np.sqrt(2 * max(own, 1.0) * (y @ correlation @ y))
    pair = (noise[person, repeat, [first, second]] ** 2).sum()
    return stats.t.cdf(t, df), -2 * (x @ y) * (repeats - 1) / repeats / pair


def freedom_used(repeats, objects):
    return (repeats * objects - repeats) * (repeats - 1) / repeats


@pytest.mark.parametrize("place", [(0, 0, 0, 1), (3, 2, 1, 4), (5, 1, 2, 3)])
def test_one_pair_agrees_with_a_computation_by_hand(place):
    data = scores()
    person, repeat, first, second = place
    found = profile_exchange(data)
    (pair,) = np.flatnonzero((found["first"] == first) & (found["second"] == second))
    chance, gain = by_hand(data, person, repeat, first, second)
    assert found["chance"][person, repeat, pair] == pytest.approx(chance, rel=1e-7)
    assert found["gain"][person, repeat, pair] == pytest.approx(gain, rel=1e-9)


def test_all_pairs_are_there():
    found = profile_exchange(scores())
    assert list(zip(found["first"].tolist(), found["second"].tolist(), strict=True)) == [
        (i, j) for i in range(5) for j in range(i + 1, 5)
    ]
    assert found["chance"].shape == found["gain"].shape == (6, 3, 10)


def test_rows_that_changed_places_stand_out():
    data = scores(spread=5.0)
    data[2, 1, [0, 3]] = data[2, 1, [3, 0]]
    found = profile_exchange(data)
    smallest = np.unravel_index(np.argmin(found["chance"]), found["chance"].shape)
    assert smallest[:2] == (2, 1)
    assert (found["first"][smallest[2]], found["second"][smallest[2]]) == (0, 3)
    assert found["chance"][smallest] * found["chance"].size < 0.05
    assert found["gain"][smallest] > 0.9
    assert found["gain"].max() == found["gain"][smallest]


@pytest.mark.parametrize("missing", [0.0, 0.1])
def test_levels_scales_and_orders_change_nothing(missing):
    rng = np.random.default_rng(4)
    data = scores(missing=missing)
    before = profile_exchange(data)
    moved = data + rng.normal(0, 20, (6, 3, 1, 7))
    moved = moved * rng.uniform(0.1, 10, (1, 1, 1, 7))
    order = rng.permutation(7)
    after = profile_exchange(moved[..., order][:, [2, 0, 1]])
    np.testing.assert_allclose(after["chance"], before["chance"][:, [2, 0, 1]], rtol=0, atol=ROUNDING)
    np.testing.assert_allclose(after["gain"], before["gain"][:, [2, 0, 1]], rtol=0, atol=ROUNDING * 10)


@pytest.mark.parametrize("correlated", [0.0, 0.5])
def test_chance_is_what_it_says_where_objects_do_not_differ(correlated):
    """On 40 studies of noise alone, one pair in twenty may have a chance below 0.05, and not many fewer."""
    shape = (10, 3, 8, 14)
    rng = np.random.default_rng(20250311)
    below = []
    for _ in range(40):
        own, shared = rng.normal(size=shape), rng.normal(size=(*shape[:3], 1))
        chance = profile_exchange(np.sqrt(1 - correlated) * own + np.sqrt(correlated) * shared)["chance"]
        below.append([(chance < level).mean() for level in (0.5, 0.05, 0.001)])
    half, twentieth, thousandth = np.mean(below, axis=0)
    assert 0.47 < half < 0.53
    assert 0.02 < twentieth < 0.055
    assert thousandth < 0.0015


def test_where_nothing_tells_the_noise_there_is_no_chance():
    assert np.isnan(profile_exchange(scores(shape=(3, 2, 3, 4)))["chance"]).all()
    assert np.isnan(profile_exchange(np.full((3, 2, 5, 4), 50.0))["chance"]).all()
    assert np.isnan(profile_exchange(np.full((3, 2, 5, 4), np.nan))["chance"]).all()


def test_a_person_with_one_repeat_tells_nothing():
    data = scores()
    data[1, 1:] = np.nan
    found = profile_exchange(data)
    assert np.isnan(found["chance"][1]).all()
    assert np.isfinite(found["chance"][0]).all()
