"""What each person tries in each session: everything, everything in parts, or a part."""

from collections import Counter
from itertools import combinations

import numpy as np
import pytest

from panel.errors import ModelError
from panel.plan.orders import _session_orders

EIGHT = [f"P{number}" for number in range(1, 9)]


def test_what_fits_into_a_session_is_tried_whole_in_each():
    turns = _session_orders(EIGHT, 10, np.random.default_rng(1), replicates=3)
    assert list(turns) == ["1", "2", "3"]
    assert all(len(orders) == 10 and all(sorted(order) == EIGHT for order in orders) for orders in turns.values())


def test_what_does_not_fit_is_split_over_sessions_of_about_equal_size():
    ten = [f"P{number}" for number in range(10)]
    turns = _session_orders(ten, 6, np.random.default_rng(1), replicates=2, per_session=4)
    assert [len(orders[0]) for orders in turns.values()] == [4, 3, 3, 4, 3, 3]
    for person in range(6):
        tried = Counter(prototype for orders in turns.values() for prototype in orders[person])
        assert tried == dict.fromkeys(ten, 2)
        first_half = [p for orders in list(turns.values())[:3] for p in orders[person]]
        assert sorted(first_half) == ten  # a replicate is complete before the next begins


def test_with_fewer_sessions_everybody_tries_a_part():
    turns = _session_orders(EIGHT, 14, np.random.default_rng(1), per_session=4, sessions=1)
    assert list(turns) == ["1"]
    orders = turns["1"]
    # 14 blocks of 4 out of 8: the balanced design with r = 7 and lambda = 3, Cochran and Cox (1957)
    assert set(Counter(p for order in orders for p in order).values()) == {7}
    assert set(Counter(frozenset(pair) for order in orders for pair in combinations(order, 2)).values()) == {3}


def test_a_part_can_take_several_sessions():
    turns = _session_orders([f"P{n}" for n in range(12)], 10, np.random.default_rng(1), per_session=3, sessions=2)
    for person in range(10):
        tried = [prototype for orders in turns.values() for prototype in orders[person]]
        assert len(set(tried)) == 6


def test_who_tries_which_part_is_drawn():
    first, other = (
        _session_orders(EIGHT, 14, np.random.default_rng(seed), per_session=4, sessions=1) for seed in (1, 2)
    )
    assert first != other
    assert first == _session_orders(EIGHT, 14, np.random.default_rng(1), per_session=4, sessions=1)


@pytest.mark.parametrize("sessions", [0, 2, 3])
def test_sessions_that_would_be_enough_or_none_are_refused(sessions):
    with pytest.raises(ModelError, match=f"take 2 sessions, so {sessions} would not make everybody try a part"):
        _session_orders(EIGHT, 10, np.random.default_rng(1), per_session=4, sessions=sessions)
