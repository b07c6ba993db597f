"""Cochran's Q against printed examples, statsmodels, Friedman's test and its exact distribution by brute force."""

from itertools import permutations, product

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import friedmanchisquare
from statsmodels.stats.contingency_tables import cochrans_q

from panel.errors import ModelError
from panel.stats.answers.paired_answers import cochran_tests

CLOSED_FORM = 1e-10
PRINTED_4 = 5e-5  # half a unit of the last printed digit


def table(text):
    return np.array([[int(cell) for cell in row] for row in text.split()], dtype=float)


# Conover (1999) p. 253, as in the help of NIST Dataplot; every row is a person
CONOVER = table("111 111 010 110 000 111 111 110 001 010 111 111")
# tests of statsmodels (cochrans_q): 12 x 4
STATSMODELS = table("0001 0001 0001 1111 1001 0101 1001 0001 0100 0000 1001 0011")
# example of SAS PROC FREQ: pattern and how many people gave it
SAS = np.repeat(table("000 100 001 101 010 110 011 111"), [6, 2, 16, 4, 2, 6, 4, 6], axis=0)


def one(answers, **kwargs):
    return cochran_tests(answers[None], **kwargs)


@pytest.mark.parametrize(
    ("answers", "statistic", "p_value", "within"),
    [
        (CONOVER, 2.8, 0.2465970, 5e-8),
        (STATSMODELS, 13.2857143, 0.00405776, 5e-8),
        (SAS, 8.4706, 0.0145, PRINTED_4),
    ],
    ids=["Conover", "statsmodels", "SAS"],
)
def test_printed_examples(answers, statistic, p_value, within):
    found = one(answers)
    assert found["statistic"][0] == pytest.approx(statistic, abs=within)
    assert found["chi_square_p"][0] == pytest.approx(p_value, abs=within)
    assert found["df"] == answers.shape[1] - 1
    assert CONOVER.sum(axis=0).tolist() == [8, 10, 7]


def test_many_questions_at_once_equal_statsmodels_and_friedman():
    rng = np.random.default_rng(1)
    answers = (rng.random((7, 40, 5)) < rng.random((7, 40, 1))).astype(float)
    found = cochran_tests(answers)
    for place, own in enumerate(answers):
        theirs = cochrans_q(own)
        assert found["statistic"][place] == pytest.approx(theirs.statistic, rel=CLOSED_FORM)
        assert found["chi_square_p"][place] == pytest.approx(theirs.pvalue, rel=CLOSED_FORM)
        # Q is Friedman's statistic of yes-or-no answers, corrected for ties
        assert found["statistic"][place] == pytest.approx(friedmanchisquare(*own.T).statistic, rel=CLOSED_FORM)


@given(st.lists(st.tuples(st.booleans(), st.booleans()), min_size=1, max_size=40))
def test_with_two_columns_it_is_mcnemar_without_correction(pairs):
    answers = np.array(pairs, dtype=float)
    b = int((answers[:, 0] > answers[:, 1]).sum())
    c = int((answers[:, 0] < answers[:, 1]).sum())
    mcnemar = (b - c) ** 2 / (b + c) if b + c else np.nan  # McNemar (1947), Psychometrika 12:153
    assert one(answers)["statistic"][0] == pytest.approx(mcnemar, nan_ok=True, rel=CLOSED_FORM)


@given(st.integers(0, 20), st.integers(0, 20))
def test_people_who_tick_all_or_nothing_change_nothing(everywhere, nowhere):
    before = one(CONOVER)
    after = one(np.concatenate([CONOVER, np.ones((everywhere, 3)), np.zeros((nowhere, 3))]))
    assert after["statistic"][0] == pytest.approx(before["statistic"][0], rel=CLOSED_FORM)
    assert after["p_value"][0] == pytest.approx(before["p_value"][0], rel=CLOSED_FORM)
    assert after["n_telling"][0] == before["n_telling"][0] == 5
    assert after["n_consumers"][0] == 12 + everywhere + nowhere


def test_the_exact_p_is_the_share_of_all_orders_within_rows():
    found = one(CONOVER)
    telling = [row for row in CONOVER.astype(int).tolist() if 0 < sum(row) < 3]
    spreads = [
        sum(total**2 for total in np.sum(rows, axis=0))
        for rows in product(*(sorted(set(permutations(row))) for row in telling))
    ]
    observed = (np.sum(telling, axis=0) ** 2).sum()
    assert found["exact"][0]
    assert found["p_value"][0] == pytest.approx(np.mean(np.array(spreads) >= observed), rel=CLOSED_FORM)


def test_a_large_table_is_left_to_chi_square():
    answers = np.tile(CONOVER, (9, 1))
    found = one(answers)
    assert not found["exact"][0]
    assert found["p_value"][0] == found["chi_square_p"][0]
    assert not one(CONOVER, work=1)["exact"][0]


def test_people_with_gaps_are_left_out_and_counted():
    gapped = np.concatenate([CONOVER, [[1, np.nan, 0]], [[np.nan] * 3]])
    found = one(gapped)
    assert (found["n_consumers"][0], found["n_lost"][0]) == (12, 1)
    assert found["statistic"][0] == pytest.approx(2.8, rel=CLOSED_FORM)


def test_where_nothing_differs_there_is_no_statistic():
    found = cochran_tests(np.stack([np.ones((4, 3)), np.full((4, 3), np.nan)]))
    assert np.isnan(found["statistic"]).all()
    assert found["p_value"][0] == 1
    assert np.isnan(found["p_value"][1])


def test_one_column_cannot_be_compared():
    with pytest.raises(ModelError, match="at least two prototypes"):
        cochran_tests(np.ones((1, 4, 1)))


@pytest.mark.parametrize(("n", "k", "ticked"), [(12, 4, 0.3), (12, 4, 0.1), (60, 8, 0.3), (60, 8, 0.05)])
def test_without_a_difference_it_rejects_about_as_often_as_its_level_says(n, k, ticked):
    # 4,000 questions of people who differ in how readily they tick; three standard errors above the level. Exact
    # p-values keep below it; Cochran (1950) and Patil (1975) find chi-square close from 24 answers that tell
    rng = np.random.default_rng(3)
    readiness = rng.beta(4 * ticked, 4 * (1 - ticked), (4000, n, 1))
    found = cochran_tests((rng.random((4000, n, k)) < readiness).astype(float), work=2000)
    allowed = 0.05 + 3 * np.sqrt(0.05 * 0.95 / 4000)
    assert np.mean(found["p_value"] <= 0.05) <= allowed
