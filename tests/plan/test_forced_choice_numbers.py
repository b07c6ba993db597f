"""Testers who must choose: the numbers of the standards, exact."""

import numpy as np
import pytest

from panel.errors import ModelError
from panel.plan.sample_size import similar, told_apart
from panel.stats.answers.binomial import chance_correct, maximum_count, minimum_count, power_above, power_below
from panel.stats.answers.discrimination import _METHODS, guessing


@pytest.mark.parametrize(
    ("method", "share", "first"),
    [("triangle", 0.3, 40), ("triangle", 0.5, 16), ("duo-trio", 0.3, 69), ("paired", 0.4, 37), ("tetrad", 0.2, 87)],
)
def test_testers_to_tell_apart(method, share, first):
    # exact binomial, 5 % and 80 %, computed with R; ISO 4120 gives 40 for the first (from memory)
    guess = guessing(method)
    numbers = np.arange(1, first + 1)
    reached = power_above(numbers, guess, chance_correct(share, guess), 0.05) >= 0.8
    assert np.flatnonzero(reached).tolist() == [first - 1]
    assert told_apart(method, share) >= first


def test_the_number_given_is_never_missed_again():
    # exact binomial, computed with R
    assert told_apart("triangle", 0.3) == 42
    assert told_apart("triangle", 0.3, power=0.9) == 57
    assert told_apart("triangle", 0.3, alpha=0.01) >= 62
    for wanted, alpha, first in ((0.8, 0.05, 40), (0.9, 0.05, 53), (0.8, 0.01, 62)):
        reached = power_above(np.arange(1, first + 1), 1 / 3, chance_correct(0.3, 1 / 3), alpha) >= wanted
        assert np.flatnonzero(reached).tolist() == [first - 1]


def test_the_counts_that_show_it_are_those_of_the_table():
    # FAO document V7180E, appendix A: triangle, 5 %
    assert minimum_count(np.array([24, 30, 36, 60]), guessing("triangle"), 0.05).tolist() == [13, 15, 18, 27]


def test_similarity_counts_the_most_that_may_be_right():
    # exact binomial, computed with R: triangle, fewer than 30 % can tell, 5 %
    limit = chance_correct(0.3, guessing("triangle"))
    assert maximum_count(np.array([24, 48, 66]), limit, 0.05).tolist() == [8, 19, 28]
    found = similar("triangle", 0.3)
    assert (power_below(np.arange(found, found + 200), limit, guessing("triangle"), 0.05) >= 0.8).all()


def test_guessing_is_right_by_construction():
    assert {name: round(1 / guessing(name)) for name in _METHODS} == {
        "triangle": 3,
        "duo-trio": 2,
        "paired": 2,
        "3-AFC": 3,
        "tetrad": 3,
    }


def test_what_is_not_known_is_said():
    with pytest.raises(ModelError, match="The method 'dice' is not known"):
        told_apart("dice", 0.3)
    with pytest.raises(ModelError, match="must lie between 0 and 100 %, and it is 0 %"):
        told_apart("triangle", 0.0)
    with pytest.raises(ModelError, match="must lie between 0 and 100 %, and it is 100 %"):
        similar("triangle", 1.0)
