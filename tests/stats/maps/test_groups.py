"""Groups of rows: k-means against a general library, noise that looks like noise, and groups that come back."""

import numpy as np
import pytest
from sklearn.cluster import KMeans

from panel.stats.maps.groups import _signs_drawn_anew, k_means, more_groups, recovered, without_effects, without_levels


def two_groups(rng, n=60, p=8, apart=2.0):
    """Rows of two kinds that want opposite things, with their kinds."""
    kind = (np.arange(n) % 3 == 0).astype(int)
    taste = np.where(np.arange(p) % 2 == 0, 1.0, -1.0) * apart / 2
    return 6 + rng.normal(0, 1, (n, 1)) + np.where(kind[:, None], taste, -taste) + rng.normal(0, 1, (n, p)), kind


def test_row_and_column_effects_are_those_of_least_squares():
    rng = np.random.default_rng(1)
    table = rng.normal(size=(12, 5))
    table[2, 3] = table[7, :2] = np.nan
    there = np.isfinite(table)
    person, place = np.nonzero(there)
    columns = np.hstack([np.eye(12)[person], np.eye(5)[place][:, 1:]])
    fitted = columns @ np.linalg.lstsq(columns, table[there], rcond=None)[0]
    left = without_effects(table)
    assert left[there] == pytest.approx(table[there] - fitted, abs=1e-7)  # the sweeps stop at 1e-9
    assert not left[~there].any()


def test_levels_taken_out_leave_no_trace_of_who_tried_what():
    # additive answers: whoever skipped the best sample is not taken for somebody who likes everything less
    table = np.array([0.0, 1.0, -2.0, 3.0])[:, None] + np.array([1.0, 5.0, 9.0])
    table[0, 2] = np.nan
    moved = without_levels(table)
    assert np.nanmax(moved, axis=0) == pytest.approx(np.nanmin(moved, axis=0), abs=1e-7)
    assert np.isnan(moved[0, 2])


@pytest.mark.parametrize("k", [1, 2, 3])
def test_k_means_as_scikit_learn(k):
    rng = np.random.default_rng(5)
    centres = np.array([[0, 0, 0], [6, 0, 0], [0, 6, 6]])
    tables = centres[rng.integers(3, size=(4, 50))] + rng.normal(size=(4, 50, 3))
    _, found = k_means(tables, k, rng)
    for table, within in zip(tables, found, strict=True):
        assert within == pytest.approx(KMeans(k, n_init=20, random_state=0).fit(table).inertia_, rel=1e-6)


def test_noise_drawn_anew_keeps_the_spread_of_rows_and_columns():
    rng = np.random.default_rng(2)
    by_row, by_column = np.exp(rng.normal(0, 0.4, 200)), np.linspace(0.6, 2.0, 6)
    table = by_row[:, None] * by_column * rng.normal(size=(200, 6))
    left = without_effects(table)
    drawn = _signs_drawn_anew(left, np.isfinite(left), 300, rng)
    assert drawn.sum(axis=2) == pytest.approx(0, abs=1e-6)
    assert (drawn**2).mean(axis=(0, 1)) == pytest.approx((left**2).mean(axis=0), rel=0.1)
    here = (drawn**2).mean(axis=(0, 2))
    assert np.corrcoef(np.log(here), np.log(by_row))[0, 1] > 0.6


def test_noise_alone_is_called_grouped_as_rarely_as_stated():
    # columns of unequal spread, ratings rounded: 60 tables at 10 %, four standard errors
    small = 0
    for seed in range(60):
        rng = np.random.default_rng([3, seed])
        noise = np.linspace(0.8, 1.8, 8) * rng.normal(size=(60, 8))
        table = np.clip(np.rint(6 + rng.normal(size=(60, 1)) + noise), 1, 9)
        left = without_effects(table)
        small += more_groups(left, np.isfinite(table), np.zeros(60, dtype=int), 49, rng)[2] <= 0.1
    assert small / 60 < 0.1 + 4 * np.sqrt(0.1 * 0.9 / 60)


def test_two_groups_are_found_and_a_third_is_not():
    rng = np.random.default_rng(4)
    table, kind = two_groups(rng)
    left, one = without_effects(table), np.zeros(60, dtype=int)
    found, share, p_value = more_groups(left, np.isfinite(table), one, 99, rng)
    assert p_value == pytest.approx(0.01)
    assert share > 0.2
    agree = (found == kind).mean()
    assert max(agree, 1 - agree) > 0.95
    _, _, third = more_groups(left, np.isfinite(table), found, 99, rng)
    assert third > 0.05


def test_clear_groups_come_back_and_halves_of_a_cloud_less():
    rng = np.random.default_rng(6)
    table, kind = two_groups(rng, apart=3.0)
    assert recovered(without_effects(table), kind, 50, rng).min() > 0.95
    cloud = without_effects(rng.normal(size=(60, 8)))
    halves = k_means(cloud[None], 2, rng)[0][0]
    assert recovered(cloud, halves, 50, rng).min() < 0.8


def test_the_same_seed_gives_the_same_groups():
    table, _ = two_groups(np.random.default_rng(4))
    left, there = without_effects(table), np.isfinite(table)
    first, second = (more_groups(left, there, np.zeros(60, dtype=int), 49, np.random.default_rng(9)) for _ in range(2))
    assert (first[0] == second[0]).all()
    assert first[1:] == second[1:]
