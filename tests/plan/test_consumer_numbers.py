"""Numbers of consumers: published and exact ones, and the normal approximations they should lie near."""

import numpy as np
import pytest
from scipy.special import ndtri
from statsmodels.stats.power import TTestPower
from statsmodels.stats.proportion import proportion_confint

from panel.errors import ModelError
from panel.plan.consumer_numbers import (
    agreed_exactly,
    agreed_numbers,
    agreed_width,
    liking_alike,
    liking_difference,
    liking_not_worse,
    parity_numbers,
    preferred_numbers,
    unsurpassed_numbers,
)

Z_ONE, Z_POWER, Z_HALF = float(ndtri(0.95)), float(ndtri(0.8)), float(ndtri(0.9))


@pytest.mark.parametrize(("difference", "expected"), [(1.0, 34), (0.75, 58), (0.5, 128), (0.3, 351)])
def test_people_for_a_difference_in_liking(difference, expected):
    # standard deviation of differences 2.0, 80 %, two-sided 5 %: the smallest n whose chance by statsmodels is enough
    found = liking_difference(difference)
    assert found.first == found.always == expected
    chances = [TTestPower().power(difference / 2.0, n, 0.05) for n in (expected - 1, expected)]
    assert chances[0] < 0.8 <= chances[1]


@pytest.mark.parametrize(("margin", "alike", "not_worse"), [(1.0, 35, 25), (0.75, 61, 44), (0.5, 138, 99)])
def test_people_for_alike_and_not_worse(margin, alike, not_worse):
    # the normal approximations; the exact numbers lie above them by the price of an estimated standard deviation
    assert int(np.ceil((Z_ONE + Z_HALF) ** 2 * 4 / margin**2)) == alike
    assert int(np.ceil((Z_ONE + Z_POWER) ** 2 * 4 / margin**2)) == not_worse
    assert 0 <= liking_alike(margin).first - alike <= 2
    assert 0 <= liking_not_worse(margin).first - not_worse <= 2


@pytest.mark.parametrize(("share", "expected"), [(0.70, 37), (0.65, 69), (0.60, 158), (0.55, 620)])
def test_people_for_a_preference(share, expected):
    # one-sided 5 %, 80 %: exact binomial, computed with R
    assert preferred_numbers(share).first == expected
    assert preferred_numbers(share).always >= expected
    assert preferred_numbers(share, two_sided=True).first > expected


@pytest.mark.parametrize(("margin", "approximate"), [(0.05, 857), (0.10, 215), (0.15, 96)])
def test_people_for_parity(margin, approximate):
    assert int(np.ceil((Z_ONE + Z_HALF) ** 2 * 0.25 / margin**2)) == approximate
    assert parity_numbers(margin).first == pytest.approx(approximate, rel=0.01)


def test_parity_and_unsurpassed_at_five_points():
    # exact binomial, computed with R
    assert (parity_numbers().first, parity_numbers().always) == (861, 888)
    assert (unsurpassed_numbers().first, unsurpassed_numbers().always) == (618, 647)


def test_the_curve_holds_the_counts_that_show_it():
    curve = parity_numbers().curve.set_index("n")
    assert curve.loc[500, ["minimum", "maximum"]].tolist() == [244, 256]
    assert curve.loc[100, "chance"] == 0
    assert np.isnan(preferred_numbers(0.6).curve["maximum"]).all()
    assert np.isnan(liking_difference(1.0).curve["minimum"]).all()


def test_agreement_against_a_bar():
    # more than half with 65 % truly agreeing is the one-sided preference question
    assert agreed_numbers(0.65).first == preferred_numbers(0.65).first == 69
    assert agreed_numbers(0.80, bar=0.60).first < agreed_numbers(0.75, bar=0.60).first


@pytest.mark.parametrize(("n", "low", "high"), [(30, 63, 90), (60, 68, 88), (100, 71, 87), (300, 75, 84)])
def test_how_exactly_a_share_will_be_known(n, low, high):
    # 80 % agreed, Wilson 95 %, whole per cents: statsmodels
    found = agreed_width(0.8, [n]).iloc[0]
    assert (round(100 * found["ci_low"]), round(100 * found["ci_high"])) == (low, high)
    np.testing.assert_allclose(
        found[["ci_low", "ci_high"]].astype(float), proportion_confint(0.8 * n, n, method="wilson")
    )


def test_people_for_a_width():
    n = agreed_exactly(0.8, 0.16)
    assert agreed_width(0.8, [n])["width"].iloc[0] <= 0.16 < agreed_width(0.8, [n - 1])["width"].iloc[0]


def test_the_teeth_are_told_where_answers_are_counted():
    assert any("teeth" in note or "whole" in note for note in preferred_numbers(0.6).notes)
    assert liking_difference(1.0).notes == ()


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: liking_difference(0.0), "must be above zero"),
        (lambda: liking_alike(1.0, sd=-1.0), "must be above zero"),
        (lambda: preferred_numbers(0.5), "The true share must lie between 50 and 100 %, and it is 50 %"),
        (lambda: agreed_numbers(0.4, bar=0.5), "The true share must lie between 50 and 100 %, and it is 40 %"),
        (lambda: parity_numbers(0.5), "The margin must lie between 0 and 50 %"),
        (lambda: unsurpassed_numbers(0.0), "The margin must lie between 0 and 50 %"),
        (lambda: agreed_exactly(0.8, 0.0), "The width must lie between 0 and 100 %"),
        (lambda: preferred_numbers(0.6, power=1.0), "wanted chance of success must lie between 0 and 1"),
    ],
)
def test_what_cannot_be_asked_is_refused(call, words):
    with pytest.raises(ModelError, match=words):
        call()
