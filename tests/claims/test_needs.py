"""What it would take: the numbers of the plan, and planned numbers that hold."""

import re

import numpy as np
import pytest
from scipy.special import stdtrit
from statsmodels.stats.power import TTestPower

from panel.claims.claim import read_claims
from panel.claims.materials import (
    Estimate,
    Materials,
    assessors_for_difference,
    assessors_for_estimate,
    people_for_parity,
    people_for_share,
)
from panel.plan.sample_size import panel_sizes, parity_numbers, share_numbers
from panel.study.study import Study
from tests.claims.claim_studies import claim_row, panel_scores, seeded, study_with

BLANK = Materials(Study({}), ())  # numbers without a study have one decimal


def number_in(text):
    return int(re.search(r"\d+", text)[0])


def test_people_are_those_of_the_plan():
    assert number_in(people_for_share(0.7, 0.5, preferred=True)) == share_numbers(0.7)
    assert number_in(people_for_share(0.7, 0.5)) == share_numbers(0.7, 0.5)
    assert number_in(people_for_parity(0.1)) == parity_numbers(0.1)
    assert number_in(people_for_parity(0.1, one_sided=True)) == parity_numbers(0.1, one_sided=True)


def test_more_people_do_not_help_a_share_below_its_bar():
    assert "More people alone will not do" in people_for_share(0.5, 0.5)
    assert "More people alone will not do" in people_for_share(0.4, 0.5, preferred=True)
    assert "More people than can be asked" in people_for_share(0.5001, 0.5)


def test_all_of_them_agreeing_is_enough_from_a_small_number_on():
    # 0.9**29 = 0.047 is the first power of 0.9 below 5 %
    assert number_in(people_for_share(1.0, 0.9)) == 29
    assert number_in(people_for_share(1.0, 0.5, preferred=True)) == 5
    assert people_for_share(1.0, 0.9) == "About 29 people, if all of them agree."
    assert people_for_share(1.0, 0.9, do="need no longer") == "About 29 people, if all of them need no longer."
    assert people_for_share(1.0, 0.5, preferred=True) == "About 5 people, if all of them prefer it."


def test_assessors_are_those_of_the_plan_with_the_scatter_of_this_panel():
    study = study_with(
        [claim_row("less", "superiority", versus="P2", attribute="GREASE")],
        scores=panel_scores({"GREASE": {"P1": 40, "P2": 50, "P3": 50}}, seeded()),
    )
    materials = Materials(study, read_claims(study))
    numbers = materials.panel
    planned = panel_sizes(
        6.0, 3, numbers.scatter("GREASE"), replicates=(2,), assessors=tuple(range(4, 61)), with_swap=1
    )
    first = planned.needed.loc[planned.needed["comparison"] == "one planned difference", "assessors"].iloc[0]
    assert number_in(assessors_for_difference(materials, "GREASE", -6.0)) == first
    assert "with 2 replicates" in assessors_for_difference(materials, "GREASE", 6.0)
    assert number_in(assessors_for_difference(materials, "GREASE", 6.0, all_others=True)) > first
    assert assessors_for_difference(materials, "GREASE", 0.1).startswith("More than 60 assessors")


def test_assessors_for_a_limit_against_the_power_of_a_t_test():
    # a mean of ten people with standard deviation 8: the one-sample t test of statsmodels
    found = Estimate(15.0, 8 / np.sqrt(10), 9.0)
    n = number_in(assessors_for_estimate(BLANK, found, 10, 20.0))
    power = [TTestPower().power(5 / 8, size, 0.05) for size in (n - 1, n)]
    assert power[0] < 0.8 <= power[1]


def test_assessors_for_a_margin_against_simulated_panels():
    found = Estimate(0.0, 8 / np.sqrt(10), 9.0)
    n = number_in(assessors_for_estimate(BLANK, found, 10, 5.0, "equality"))
    rng = np.random.default_rng(1)
    draws = rng.normal(0, 8, (20_000, n))
    half = stdtrit(n - 1, 0.95) * draws.std(axis=1, ddof=1) / np.sqrt(n)
    shown = np.mean((draws.mean(axis=1) - half > -5) & (draws.mean(axis=1) + half < 5))
    assert shown == pytest.approx(0.8, abs=0.05)  # the next whole number of people: at most 5 points above 80 %
    assert shown >= 0.8 - 4 * np.sqrt(0.16 / 20_000)
    assert number_in(assessors_for_estimate(BLANK, found, 10, 5.0, "not worse")) < n


def test_what_was_not_shown_takes_more_people_than_there_were():
    # 25 people: a true difference of nought would show with fewer; what was found is nearer to the margin
    found = Estimate(1.5, 8 / np.sqrt(25), 24.0)
    usual = assessors_for_estimate(BLANK, Estimate(0.0, 8 / np.sqrt(10), 9.0), 10, 5.0, "equality")
    told = assessors_for_estimate(BLANK, found, 25, 5.0, "equality")
    assert "if the difference is what was found" in told
    assert "if there is no difference" in usual
    n = number_in(told)
    assert n > 25
    draws = np.random.default_rng(2).normal(1.5, 8, (20_000, n))
    half = stdtrit(n - 1, 0.95) * draws.std(axis=1, ddof=1) / np.sqrt(n)
    shown = np.mean((draws.mean(axis=1) - half > -5) & (draws.mean(axis=1) + half < 5))
    assert 0.8 - 4 * np.sqrt(0.16 / 20_000) <= shown <= 0.85


def test_a_difference_beyond_the_margin_is_never_equality_with_more_people():
    found = Estimate(6.0, 8 / np.sqrt(40), 39.0)
    assert assessors_for_estimate(BLANK, found, 40, 5.0, "equality").startswith("More than 60 assessors")
    for size in (6.0, 30.0):  # also where it is so large that many people would surely find it, the other way
        worse = Estimate(-size, 8 / np.sqrt(40), 39.0)
        assert assessors_for_estimate(BLANK, worse, 40, 5.0, "not worse").startswith("More than 60 assessors")


def test_not_worse_counts_from_what_was_found():
    found = Estimate(-2.0, 8 / np.sqrt(25), 24.0)
    told = assessors_for_estimate(BLANK, found, 25, 5.0, "not worse")
    power = [
        TTestPower().power(3 / 8, size, 0.05, alternative="larger") for size in (number_in(told) - 1, number_in(told))
    ]
    assert power[0] < 0.8 <= power[1]
    assert number_in(told) > 25


def test_enough_people_by_one_claim_alone_are_too_few_among_several():
    # 100 people found it surely; it was not shown because it is judged with others
    told = assessors_for_estimate(BLANK, Estimate(15.0, 0.8, 99.0), 100, 20.0)
    assert told.startswith("More than 100 assessors would be needed to show a mean 5.0 beyond 20")
