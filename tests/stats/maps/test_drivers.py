"""The rule for naming: never one of several, never by accident of proportion, the true one where it stands alone."""

import numpy as np
import pytest

from panel.stats.comparing.multiplicity import holm
from panel.stats.maps.links import name_drivers, p_over_moves, single_links


def named(X, Y, moves, *, candidate=None, refused=None, asked=None):
    """Apply the rule to columns and responses; all columns may be named unless said otherwise."""
    found = single_links(X, Y)
    d = X.shape[1]
    candidate = np.ones(d, dtype=bool) if candidate is None else candidate
    p_named = p_over_moves(found["r"], moves)
    return name_drivers(
        found["r"],
        holm(found["p_value"]),
        holm(np.where(asked, p_named, np.nan) if asked is not None else p_named),
        np.corrcoef(X, rowvar=False),
        moves,
        candidate=candidate,
        possible=found["p_value"] < 0.05,
        refused=np.zeros(found["r"].shape, dtype=bool) if refused is None else refused,
    )


def independent(seed, n=16, d=4):
    return np.random.default_rng(seed).normal(size=(n, d))


def test_the_only_explanation_is_named():
    X = independent(1)
    Y = X[:, [2]] + 0.05 * independent(2, d=1)
    best, in_running = named(X, Y, 12)
    assert best.tolist() == [2]
    assert in_running[:, 0].tolist() == [False, False, True, False]


def test_of_two_that_explain_alike_none_is_named():
    X = independent(1)
    X[:, 3] = X[:, 2] + 0.05 * independent(3, d=1)[:, 0]
    best, in_running = named(X, X[:, [2]] + 0.1 * independent(2, d=1), 12)
    assert best.tolist() == [-1]
    assert in_running[:, 0].tolist() == [False, False, True, True]


def test_a_column_that_may_not_be_named_still_stands_in_the_way():
    X = independent(1)
    X[:, 3] = X[:, 2] + 0.05 * independent(3, d=1)[:, 0]
    best, in_running = named(
        X, X[:, [2]] + 0.1 * independent(2, d=1), 12, candidate=np.array([True, True, True, False])
    )
    assert best.tolist() == [-1]
    assert in_running[2:, 0].all()


def test_what_is_refused_or_was_not_asked_is_not_named():
    X = independent(1)
    Y = X[:, [2]] + 0.05 * independent(2, d=1)
    assert named(X, Y, 12, refused=np.ones((4, 1), dtype=bool))[0].tolist() == [-1]
    assert named(X, Y, 12, asked=np.zeros((4, 1), dtype=bool))[0].tolist() == [-1]
    assert named(X, Y, 12, asked=np.zeros((4, 1), dtype=bool))[1][:, 0].tolist() == [False, False, True, False]


def test_noise_has_no_best_candidate():
    best, in_running = named(independent(5), independent(6, d=3), 12)
    assert best.tolist() == [-1, -1, -1]
    assert not in_running.any()


def test_opposite_columns_are_rivals_too():
    # a column that falls as the other rises explains the response as well: the sign must not hide it
    X = independent(1)
    X[:, 3] = -X[:, 2] + 0.05 * independent(3, d=1)[:, 0]
    assert named(X, X[:, [2]] + 0.1 * independent(2, d=1), 12)[1][:, 0].tolist() == [False, False, True, True]


def test_with_two_moves_no_correlation_can_be_held_against_anything():
    assert np.isnan(p_over_moves(np.array([0.999]), 1)).all()
    assert p_over_moves(np.array([0.95]), 3)[0] == pytest.approx(0.05, abs=5e-4)  # r needed with 4 rows is .950


def test_effects_of_swaps_that_happen_to_be_in_proportion_are_not_taken_for_a_property():
    # 2^3 factorial with three effects drawn anew for each response and hardly any noise; four properties that are
    # mixtures of the three swaps. Held to 8 rows, chance names often; held to 4 rows it must not.
    rng = np.random.default_rng(7)
    runs = np.array([[run >> swap & 1 for swap in range(3)] for run in range(8)], dtype=float)
    studies, by_rows, by_moves = 300, 0, 0
    for _ in range(studies):
        X = runs @ rng.normal(size=(3, 4))
        Y = runs @ rng.normal(size=(3, 14)) + 0.02 * rng.normal(size=(8, 14))
        by_rows += bool((named(X, Y, 7)[0] >= 0).any())
        by_moves += bool((named(X, Y, 3)[0] >= 0).any())
    assert by_rows > 0.3 * studies
    assert by_moves <= studies * (0.05 + 4 * np.sqrt(0.05 * 0.95 / studies))
