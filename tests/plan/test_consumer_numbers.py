"""Numbers of consumers: published and exact ones, and the normal approximations they should lie near."""

import numpy as np
import pytest
from scipy.special import ndtri

from panel.errors import ModelError
from panel.plan.sample_size import (
    parity_numbers,
    share_numbers,
    told_apart,
)
from panel.stats.answers.binomial import power_above, power_parity

Z_ONE, Z_POWER, Z_HALF = float(ndtri(0.95)), float(ndtri(0.8)), float(ndtri(0.9))


def first(chance):
    """The first number of people that reaches 80 %."""
    return int(np.argmax(chance(np.arange(1, 2000)) >= 0.8)) + 1


@pytest.mark.parametrize(("share", "expected"), [(0.70, 37), (0.65, 69), (0.60, 158), (0.55, 620)])
def test_people_for_a_preference(share, expected):
    # one-sided 5 %, 80 %: exact binomial, computed with R
    assert first(lambda n: power_above(n, 0.5, share)) == expected
    assert share_numbers(share) >= expected


@pytest.mark.parametrize(("margin", "approximate"), [(0.05, 857), (0.10, 215), (0.15, 96)])
def test_people_for_parity(margin, approximate):
    assert int(np.ceil((Z_ONE + Z_HALF) ** 2 * 0.25 / margin**2)) == approximate
    assert first(lambda n: power_parity(n, 0.5 - margin, 0.5 + margin, 0.5)) == pytest.approx(approximate, rel=0.01)
    assert parity_numbers(margin) >= approximate


def test_parity_and_unsurpassed_at_five_points():
    # exact binomial, computed with R
    assert (parity_numbers(), parity_numbers(one_sided=True)) == (888, 647)
    assert first(lambda n: power_parity(n, 0.45, 0.55, 0.5)) == 861
    assert first(lambda n: power_above(n, 0.45, 0.5)) == 618


def test_agreement_against_a_bar():
    # more than half with 65 % truly agreeing is the one-sided preference question
    assert first(lambda n: power_above(n, 0.5, 0.65)) == 69
    assert share_numbers(0.65, bar=0.5) == share_numbers(0.65) >= 69
    assert share_numbers(0.80, bar=0.60) < share_numbers(0.75, bar=0.60)


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: share_numbers(0.5), "The true share must lie between 50 and 100 %, and it is 50 %"),
        (lambda: share_numbers(0.4, bar=0.5), "The true share must lie between 50 and 100 %, and it is 40 %"),
        (lambda: parity_numbers(0.5), "The margin must lie between 0 and 50 %"),
        (lambda: parity_numbers(0.0, one_sided=True), "The margin must lie between 0 and 50 %"),
        (lambda: told_apart("triangle", 0.6, power=1.0), "wanted chance of success must lie between 0 and 1"),
    ],
)
def test_what_cannot_be_asked_is_refused(call, words):
    with pytest.raises(ModelError, match=words):
        call()
