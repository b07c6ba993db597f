"""The exact distribution of rank sums against the classical tables, plain enumeration and its own promise."""

from itertools import permutations, product

import numpy as np
import pytest

from panel.stats.answers.ranks import exact_rank_sum_p, ranks_within_blocks

SAME = 1e-12  # sums of products of exact shares

# Smallest chi-square with exact p <= 0.05 and <= 0.01, to the three decimals of the classical tables of Friedman's
# test, which ISO 8587 also rests on. Enumerated independently; the classical values agree (from memory).
CRITICAL = {
    3: {
        **{3: (6.000, None), 4: (6.500, 8.000), 5: (6.400, 8.400), 6: (7.000, 9.000), 7: (7.143, 8.857)},
        **{8: (6.250, 9.000), 9: (6.222, 9.556), 10: (6.200, 9.600), 11: (6.545, 9.455), 12: (6.500, 9.500)},
        **{13: (6.615, 9.385), 14: (6.143, 9.143), 15: (6.400, 8.933)},
    },
    4: {
        **{2: (6.0, None), 3: (7.4, 9.0), 4: (7.8, 9.6), 5: (7.8, 9.96), 6: (7.6, 10.2), 7: (7.8, 10.543)},
        **{8: (7.65, 10.5), 9: (7.667, 10.733), 10: (7.68, 10.68)},
    },
    5: {2: (7.6, 8.0), 3: (8.533, 10.133), 4: (8.8, 11.2), 5: (8.96, 11.68), 6: (9.067, 11.867)},
}


def walk(n, k, steps, rng):
    """Tables of ranks whose statistic goes from none to the largest: a common order under more or less noise."""
    tables = [np.array([list(range(1, k + 1))] * n, dtype=float)]
    for _ in range(steps):
        share = rng.random()
        tables.append(ranks_within_blocks(np.arange(k) * share + rng.random((n, k))))
    return tables


@pytest.mark.parametrize(("k", "n"), [(k, n) for k, row in CRITICAL.items() for n in row])
def test_critical_values_of_the_classical_tables(k, n):
    rng = np.random.default_rng(k * 100 + n)
    found = {}
    for ranks in walk(n, k, 150, rng):
        statistic = 12 * ((ranks.sum(axis=0) - n * (k + 1) / 2) ** 2).sum() / (n * k * (k + 1))
        if round(statistic, 9) not in found:
            found[round(statistic, 9)] = exact_rank_sum_p(ranks)
    for level, printed in zip((0.05, 0.01), CRITICAL[k][n], strict=True):
        if printed is None:
            assert min(found.values()) > level
            continue
        # every table at or above the printed value is significant, every table below it is not
        for statistic, p in found.items():
            assert (p <= level) == (round(statistic, 3) >= printed), (statistic, p)


@pytest.mark.parametrize(
    "rows",
    [
        [[1, 2, 3], [1, 2.5, 2.5], [3, 1, 2], [2, 2, 2]],
        [[1, 2, 3, 4], [1.5, 1.5, 3.5, 3.5], [4, 1, 2.5, 2.5]],
        [[1, 2.5, 2.5, 4, 5], [1, 2, 3, 4, 5]],
    ],
)
def test_ties_equal_plain_enumeration(rows):
    ranks = np.array(rows, dtype=float)
    observed = (ranks.sum(axis=0) ** 2).sum()
    orders = [list(permutations(row)) for row in rows]  # equal values permuted too: equal weight for each
    reached = [
        (np.sum(chosen, axis=0) ** 2).sum() >= observed - 1e-9 for chosen in product(*orders[1:], [tuple(rows[0])])
    ]
    assert exact_rank_sum_p(ranks) == pytest.approx(np.mean(reached), abs=SAME)


@pytest.mark.parametrize(("n", "k", "levels"), [(5, 3, 3), (6, 4, 5), (4, 5, 4)])
def test_size_is_never_above_nominal_with_ties(n, k, levels):
    # under no difference, P(p <= alpha) <= alpha; 2,000 tables with ties, allowance of three standard errors
    rng = np.random.default_rng(11)
    p = np.array(
        [exact_rank_sum_p(ranks_within_blocks(rng.integers(0, levels, (n, k)).astype(float))) for _ in range(2000)]
    )
    for alpha in (0.01, 0.05, 0.1):
        assert (p <= alpha).mean() <= alpha + 3 * np.sqrt(alpha * (1 - alpha) / 2000)


def test_it_gives_up_where_it_would_take_long():
    ranks = ranks_within_blocks(np.random.default_rng(1).random((10, 8)))
    assert exact_rank_sum_p(ranks) is None
    assert exact_rank_sum_p(ranks[:3, :4], work=10) is None
    assert exact_rank_sum_p(ranks_within_blocks(np.random.default_rng(1).random((4, 30)))) is None


def test_two_blocks_of_two():
    assert exact_rank_sum_p(np.array([[1.0, 2.0], [1.0, 2.0]])) == pytest.approx(0.5)
    assert exact_rank_sum_p(np.array([[1.0, 2.0], [2.0, 1.0]])) == pytest.approx(1.0)
