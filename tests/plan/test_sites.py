"""Sites on the skin: every sequence uses each site once, and prototypes come to all sites about equally often."""

from collections import Counter

import numpy as np
import pandas as pd
import pytest

from panel.errors import ModelError
from panel.plan.orders import _given_sites, _site_sequences
from panel.stats.orders.order_designs import serving_orders


@pytest.mark.parametrize("number", range(1, 9))
def test_over_all_sequences_each_site_stands_once_at_each_place(number):
    sequences = _site_sequences(number)
    assert len(sequences) == number
    for place in range(number):
        assert len({sequence[place] for sequence in sequences}) == number
    assert all(len(set(sequence)) == number for sequence in sequences)


def test_one_arm_is_done_before_the_other_and_both_come_first():
    for sequence in _site_sequences(8):
        sides = [site.split()[0] for site in sequence]
        assert sides in (["left"] * 4 + ["right"] * 4, ["right"] * 4 + ["left"] * 4)
    assert Counter(sequence[0].split()[0] for sequence in _site_sequences(8)) == {"left": 4, "right": 4}


def test_no_site_is_used_twice():
    with pytest.raises(ModelError, match="9 samples in a session need 9 sites, and there are 8"):
        _site_sequences(9)


@pytest.mark.parametrize(("n", "t"), [(8, 8), (10, 8), (12, 6), (9, 4), (7, 5)])
def test_prototypes_come_to_sites_and_sides_about_equally_often(n, t):
    rng = np.random.default_rng(1)
    seen: Counter = Counter()
    rows = []
    for orders in serving_orders(n, t, 3, rng):
        for order, sites in zip(orders, _given_sites(orders, seen, rng), strict=True):
            assert len(set(sites)) == t
            rows += list(zip(order.tolist(), sites, range(t), strict=True))
    frame = pd.DataFrame(rows, columns=["prototype", "site", "place"])
    side = frame["site"].str.split().str[0]
    counts = pd.crosstab(frame["prototype"], frame["site"])
    # 3 n / t servings of each prototype at each site are meant; a random order is off by about twice its square root
    assert np.abs(counts.to_numpy() - 3 * n / t).max() <= 2
    if t % 2 == 0:
        assert np.ptp(pd.crosstab(frame["prototype"], side).to_numpy()) <= 2
    assert np.ptp(pd.crosstab(frame["place"], frame["site"]).to_numpy()) <= 3


def test_what_was_planned_before_counts_too():
    rng = np.random.default_rng(2)
    order = [["P1", "P2"]]
    seen: Counter = Counter()
    sites = [_given_sites(order, seen, rng)[0][0] for _ in range(6)]
    assert Counter(sites) == {"left forearm 1": 3, "right forearm 1": 3}
