"""Numbers of answers: published ones, the teeth, and what no number can show."""

import numpy as np
import pytest

from panel.errors import ModelError
from panel.stats.answers.binomial import chance_correct, enough_answers, power_above, power_parity

THIRD, HALF = 1 / 3, 1 / 2


def first(chance, wanted=0.8):
    """The first number of answers that reaches a chance: the one that published tables give."""
    return int(np.argmax(chance(np.arange(1, 2000)) >= wanted)) + 1


def told_apart(guess, share, alpha=0.05):
    return lambda n: power_above(n, guess, chance_correct(share, guess), alpha)


@pytest.mark.parametrize(
    ("guess", "alpha", "share", "expected"),
    [  # first number with exact power 80, 90, 95 %, computed with R; ISO 4120 gives 40, 53, 66 (from memory)
        (THIRD, 0.05, 0.5, (16, 20, 23)),
        (THIRD, 0.05, 0.4, (23, 30, 40)),
        (THIRD, 0.05, 0.3, (40, 53, 66)),
        (THIRD, 0.05, 0.2, (87, 117, 147)),
        (THIRD, 0.01, 0.5, (25, 30, 35)),
        (THIRD, 0.01, 0.4, (35, 47, 56)),
        (THIRD, 0.01, 0.3, (62, 82, 97)),
        (HALF, 0.05, 0.5, (23, 33, 42)),
        (HALF, 0.05, 0.4, (37, 53, 67)),
        (HALF, 0.05, 0.3, (69, 93, 119)),
        (HALF, 0.05, 0.2, (158, 213, 268)),
    ],
)
def test_first_numbers_of_testers(guess, alpha, share, expected):
    chance = told_apart(guess, share, alpha)
    assert tuple(first(chance, power) for power in (0.8, 0.9, 0.95)) == expected


def test_the_number_never_missed_again():
    # computed with R: 42, 57 and 73 for a triangle test with 30 % who can tell
    found = [enough_answers(told_apart(THIRD, 0.3), power) for power in (0.8, 0.9, 0.95)]
    assert found == [42, 57, 73]


def test_parity_and_unsurpassed():
    # exact binomial, computed with R: parity within 45 to 55 % and above 45 %, power 80 % at 50 %
    parity, unsurpassed = (lambda n: power_parity(n, 0.45, 0.55, 0.5)), (lambda n: power_above(n, 0.45, 0.5))
    assert (first(parity), enough_answers(parity)) == (861, 888)
    assert (first(unsurpassed), enough_answers(unsurpassed)) == (618, 647)


def test_from_there_on_the_chance_is_never_missed():
    chance = told_apart(THIRD, 0.3)
    found = enough_answers(chance)
    assert chance(np.array([found - 1])) < 0.8
    # far beyond what was searched it is still not missed
    assert (chance(np.arange(found, 3000)) >= 0.8).all()


def test_what_no_number_shows_is_refused():
    with pytest.raises(ModelError, match="Even 65,536 answers would not show this"):
        enough_answers(lambda n: np.full(n.shape, 0.05))
    with pytest.raises(ModelError, match="between 0 and 1"):
        enough_answers(told_apart(THIRD, 0.3), 1.0)


def test_one_answer_can_be_enough():
    assert enough_answers(lambda n: np.ones(n.shape)) == 1
