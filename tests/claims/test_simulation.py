"""False claims are supported in at most 5 % of studies, true ones as often as the plan promised.

The long version is `python -m benchmarks.claims_simulation`. Agreement and preference are enumerated exactly.
"""

import numpy as np
import pytest
import scipy.stats

from benchmarks.claims_simulation import SCATTER_SD, as_planned, at_the_border, families, supported, too_often
from panel.claims.claim import read_claims
from panel.claims.judge import _find_evidence
from panel.claims.materials import Materials
from panel.claims.verdict import _is_shown
from panel.stats.answers.binomial import power_above
from tests.claims.claim_studies import answer_rows, claim_row, study_with, vote_rows

STUDIES = 100
BY_CHANCE = 1e-4  # a correct rule fails one of these checks in about one of 500 choices of the seeds
EXACT = 1e-12


@pytest.mark.parametrize("case", at_the_border(), ids=lambda case: case.name)
def test_a_claim_that_is_only_just_false_is_rarely_supported(case):
    found = supported(case, np.random.default_rng(20250311), STUDIES)
    assert too_often(found, STUDIES) > BY_CHANCE


@pytest.mark.parametrize("case", as_planned(), ids=lambda case: case.name)
def test_a_true_claim_is_supported_with_the_chance_the_plan_promised(case):
    found = supported(case, np.random.default_rng(20250312), STUDIES)
    assert scipy.stats.binomtest(found, STUDIES, case.expected).pvalue > BY_CHANCE


@pytest.mark.parametrize("attributes", [1, 3])
def test_claims_on_alike_prototypes_are_one_family_and_a_true_one_among_them_is_found(attributes):
    some, _ = families(np.random.default_rng(20250313), STUDIES, attributes)
    assert too_often(some, STUDIES) > BY_CHANCE
    _, found = families(np.random.default_rng(20250314), STUDIES // 2, attributes, 2 * SCATTER_SD)
    assert found >= 0.9 * (STUDIES // 2)


def shown(study):
    claim = read_claims(study)[0]
    found = _find_evidence(claim, Materials(study, (claim,)))
    return _is_shown(found, found.p_value)


def chances(n, build):
    """Which counts of n support the claim."""
    return np.array([shown(build(x)) for x in range(n + 1)])


def agreement(x, n, bar):
    return study_with([claim_row("feels soft", "agreement", question="soft", bar=bar)], answers=answer_rows(x, n))


@pytest.mark.parametrize(("n", "bar"), [(20, 50), (37, 50), (30, 80)])
def test_agreement_keeps_its_level_and_the_promise_of_the_plan_exactly(n, bar):
    supports = chances(n, lambda x: agreement(x, n, bar))
    counts = np.arange(n + 1)
    for share in np.linspace(0.01, bar / 100, 25):
        assert scipy.stats.binom.pmf(counts, n, share) @ supports <= 0.05 + EXACT
    truth = 0.95 if bar == 80 else 0.7
    planned = float(power_above(n, bar / 100, truth))
    assert scipy.stats.binom.pmf(counts, n, truth) @ supports == pytest.approx(planned, abs=EXACT)


def test_preference_keeps_its_level_and_the_promise_of_the_plan_exactly():
    n = 37  # enough for a true 70 %, by the tables
    row = claim_row("preferred to P2 by more than half", "preference", versus="P2")
    supports = chances(n, lambda x: study_with([row], answers=vote_rows(x, n - x, 0)))
    counts = np.arange(n + 1)
    assert scipy.stats.binom.pmf(counts, n, 0.5) @ supports <= 0.05
    planned = float(power_above(n, 0.5, 0.7))
    assert planned >= 0.8
    assert scipy.stats.binom.pmf(counts, n, 0.7) @ supports == pytest.approx(planned, abs=EXACT)


def test_votes_without_a_preference_make_a_preference_harder_to_show_never_easier():
    row = claim_row("preferred to P2 by more than half", "preference", versus="P2")
    assert shown(study_with([row], answers=vote_rows(30, 15, 0)))
    assert not shown(study_with([row], answers=vote_rows(30, 15, 10)))
